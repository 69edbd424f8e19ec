"""Random task sets that the analysis covers: fixed priorities and deadlines, locks, handlers."""

import random

PERIODS = (1000, 1500, 2000, 2400, 3000, 4000, 5000, 6000, 8000, 12000)


def random_set(draw: random.Random) -> str:
    """A task set as text; its load is from light to a little too much."""
    policy = draw.choice(["fixed"] * 4 + ["edf"])
    cores = draw.choice([1, 1, 1, 2]) if policy == "fixed" else 1
    number = draw.randint(2, 6)
    load = draw.uniform(0.3, 1.05)
    parts = [_head(draw, policy)]
    protocols = ["inherit", "none"] if policy == "edf" else PROTOCOLS
    locks = {f"m{index}": draw.choice(protocols) for index in range(draw.randint(0, 3))}
    if draw.random() < 0.5 and locks:
        one = draw.choice(protocols)
        locks = dict.fromkeys(locks, one)
    parts += [f'[locks.{name}]\nprotocol = "{rule}"' for name, rule in locks.items()]
    parts += [f"[cores.c{core}]\nid = {core}" for core in range(cores) if cores > 1]
    shares = [draw.uniform(0.05, 1) for _ in range(number)]
    chained = draw.random() < 0.25 and policy == "fixed"
    if chained:
        parts.append("[queues.q0]")
    distinct = draw.sample(range(1, 20), number)
    equal = draw.random() < 0.2
    for index, share in enumerate(shares):
        period = draw.choice(PERIODS)
        cost = max(10, int(period * load * share / sum(shares)))
        lines = [f"[tasks.t{index}]"]
        if policy == "fixed":
            lines.append(f"priority = {draw.randint(1, 3) if equal else distinct[index]}")
        deadline = draw.choice([period, period, int(period * draw.uniform(0.5, 1)), 3 * period])
        lines.append(f"deadline_us = {deadline}")
        core = draw.randrange(cores)
        if cores > 1:
            lines.append(f"core = {core}")
        of_core = [k for place, k in enumerate(locks) if cores == 1 or place % cores == core]
        if chained and index == 0:
            lines.append('activation = "q0"')
        else:
            lines += _arrivals(draw, period, policy)
        steps = _body(draw, cost, of_core, policy)
        if chained and index == number - 1:
            steps.insert(draw.randint(0, len(steps)), "send q0")
        parts.append("\n".join([*lines, f"body = {_list(steps)}"]))
    for index in range(draw.choice([0, 0, 1, 2])):
        parts.append(_handler(draw, index, cores))
    return "\n\n".join(parts)


PROTOCOLS = ["none", "inherit", "inherit", "ceiling", "ceiling", "original_ceiling"]


def _head(draw: random.Random, policy: str) -> str:
    kernel = ["[kernel]"]
    if draw.random() < 0.3:
        kernel.append(f"switch_us = {draw.choice([1, 3, 10])}")
    if draw.random() < 0.1 and policy == "fixed":
        kernel += ["tick_us = 250", "tick_cost_us = 2"]
    if draw.random() < 0.1:
        kernel += ["sleep = true", "wake_us = 7"]
    preemptive = draw.choice(["true"] * 4 + ["false"])
    order = draw.choice(["higher_first", "lower_first"])
    return "\n".join(
        [
            "[clock]\nhz = 1_000_000",
            f'[priority]\norder = "{order}"',
            f'[policy]\nname = "{policy}"\npreemptive = {preemptive}',
            *kernel,
        ]
    )


def _arrivals(draw: random.Random, period: int, policy: str) -> list[str]:
    kind = draw.choice(["delay", "activate", "sporadic", "jitter", "offset"])
    if kind == "delay":
        return [f"period_us = {period}"]
    if kind == "activate":
        return [f"period_us = {period}", 'activation = "activate"']
    if kind == "sporadic":
        return ['activation = "activate"', f'every = "{period}..{period + 300}"']
    if kind == "jitter" and policy == "fixed":
        return [
            f"period_us = {period}",
            f"jitter_us = {draw.randint(1, period)}",
            f'activation = "{draw.choice(["delay", "activate"])}"',
        ]
    return [f"period_us = {period}", f"offset_us = {draw.randint(0, period)}"]


def _body(draw: random.Random, cost: int, locks: list[str], policy: str) -> list[str]:
    cuts = sorted(draw.randint(1, cost) for _ in range(draw.randint(0, 4)))
    runs = [b - a for a, b in zip([0, *cuts], [*cuts, cost], strict=True) if b > a]
    steps: list[str] = []
    held: list[str] = []
    suspends = draw.random() < 0.15 and policy == "fixed"
    for run in runs:
        free = [lock for lock in locks if lock not in held]
        what = draw.random()
        # Locks are nested in one order only: in a circle there is no bound.
        free = [lock for lock in free if not held or lock > max(held)]
        if free and what < 0.4:
            held.append(draw.choice(free))
            steps.append(f"lock {held[-1]}")
        low = draw.randint(1, run)
        steps.append(f"run {run}" if draw.random() < 0.7 else f"run {low}..{run}")
        if held and draw.random() < 0.6:
            steps.append(f"unlock {held.pop()}")
        if suspends and not held and draw.random() < 0.5:
            steps.append(f"suspend {draw.randint(10, 200)}..{draw.randint(200, 400)}")
    return steps + [f"unlock {lock}" for lock in reversed(held)]


def _handler(draw: random.Random, index: int, cores: int) -> str:
    least = draw.randint(400, 2000)
    return "\n".join(
        [
            f"[isrs.i{index}]",
            f"priority = {draw.randint(1, 2)}",
            f'every = "{least}..{least + draw.randint(0, 200)}"',
            f"core = {draw.randrange(cores)}",
            "pend = true",
            f"body = {_list([f'run {draw.randint(5, 60)}'])}",
        ]
    )


def _list(steps: list[str]) -> str:
    return "[" + ", ".join(f'"{step}"' for step in steps) + "]"
