"""Random task sets, as text: every policy, protocol and kind of release, up to three cores."""

import random


def random_set(draw: random.Random, *, cores: int | None = None) -> str:
    """A task set without a cycle of releases; a few are refused for other reasons."""
    policy = draw.choice(["fixed"] * 4 + ["round_robin", "edf"])
    cores = draw.choice([1, 1, 1, 2, 3]) if cores is None else cores
    parts = [_head(draw, policy, cores)]
    parts += [f"[cores.c{core}]\nid = {core}" for core in range(cores) if cores > 1]
    protocols = ["none", "inherit", "ceiling", "original_ceiling"]
    protocol = draw.choice(["none"] if policy == "edf" else protocols)
    locks = [f"m{index}" for index in range(draw.randint(0, 3))]
    parts += [f'[locks.{name}]\nprotocol = "{protocol}"' for name in locks]
    queues = [f"q{index}" for index in range(draw.randint(0, 2))]
    for name in queues:
        full = draw.choice(["wait", "drop"])
        parts.append(f'[queues.{name}]\ndepth = {draw.choice([1, 2, 8])}\nfull = "{full}"')
    tasks = [f"t{index}" for index in range(draw.randint(2, 6))]
    consumers = dict(zip(queues, draw.sample(tasks, len(queues)), strict=True))
    basic = [name for name in tasks if name not in consumers.values() and draw.random() < 0.3]
    for index, name in enumerate(tasks):
        lines = [f"[tasks.{name}]"]
        if policy != "edf" or draw.random() < 0.5:
            lines.append(f"priority = {draw.randint(1, 5)}")
        if draw.random() < 0.9:
            lines.append(f"deadline_us = {draw.randint(300, 6000)}")
        if cores > 1 and draw.random() < 0.6:
            lines.append(f"core = {draw.randrange(cores)}")
        lines += _arrivals(draw, name, consumers, basic)
        if draw.random() < 0.3:
            lines.append('stack_bytes = 1000\nstack_use = "300..600"\nstack_per_us = 0.3')
        steps = _body(draw, name, locks)
        later = {queue: task for queue, task in consumers.items() if int(task[1:]) > index}
        for queue in later:
            if draw.random() < 0.6:
                steps.insert(draw.randint(0, len(steps)), f"send {queue}")
        for other in basic:
            if int(other[1:]) > index and draw.random() < 0.2:
                steps.append(f"activate {other}")
        parts.append("\n".join([*lines, f"body = {_list(steps)}"]))
    for index in range(draw.randint(0, 3)):
        parts.append(_handler(draw, index, cores, queues, basic))
    return "\n\n".join(parts)


def _head(draw: random.Random, policy: str, cores: int) -> str:
    kernel = ["[kernel]"]
    if draw.random() < 0.6:
        kernel.append(f"switch_us = {draw.choice([1, 3, 10])}")
    if draw.random() < 0.3:
        kernel += ["tick_us = 250", "tick_cost_us = 2"]
    if draw.random() < 0.15 and cores == 1:
        kernel.append("idle = false")
    if draw.random() < 0.25:
        kernel += ["sleep = true", f"wake_us = {draw.choice([0, 7])}"]
        if cores == 1 and draw.random() < 0.5:
            kernel.append("clock_stops = true")
    order = draw.choice(["higher_first", "lower_first"])
    preemptive = draw.choice(["true"] * 4 + ["false"])
    return "\n".join(
        [
            f'[priority]\norder = "{order}"',
            f'[policy]\nname = "{policy}"\npreemptive = {preemptive}\nslice_us = 300',
            *kernel,
        ]
    )


def _arrivals(
    draw: random.Random, name: str, consumers: dict[str, str], basic: list[str]
) -> list[str]:
    for queue, task in consumers.items():
        if task == name:
            return [f'activation = "{queue}"']
    if name in basic:
        lines = ['activation = "activate"', f"offset_us = {draw.randint(0, 3000)}"]
        if draw.random() < 0.6:
            least = draw.randint(900, 3000)
            lines.append(f'every = "{least}..{least + draw.randint(0, 3000)}"')
        elif draw.random() < 0.5:
            lines.append(f"period_us = {draw.randint(1000, 6000)}")
        return lines
    lines = [f"period_us = {draw.randint(1000, 6000)}"]
    if draw.random() < 0.5:
        lines.append(f"offset_us = {draw.randint(0, 3000)}")
    if draw.random() < 0.3:
        lines.append(f"jitter_us = {draw.randint(1, 200)}")
    return lines


def _body(draw: random.Random, name: str, locks: list[str]) -> list[str]:
    steps, held = [], []
    if draw.random() < 0.2:
        steps.append(f"mark {name}_in")
    for _ in range(draw.randint(1, 5)):
        steps.append(f"run {_duration(draw)}")
        what = draw.random()
        free = [lock for lock in locks if lock not in held]
        if held and what < 0.4:
            steps.append(f"unlock {held.pop()}")
        elif free and what < 0.75:
            held.append(draw.choice(free))
            steps.append(f"lock {held[-1]}")
        elif what < 0.85:
            why = " for adc" if draw.random() < 0.5 else ""
            steps.append(f"suspend {_duration(draw)}{why}")
        elif what < 0.9:
            steps.append("mark row 3")
    if steps[-1].startswith("lock"):
        steps.append("run 30")
    return steps + [f"unlock {lock}" for lock in reversed(held)]


def _duration(draw: random.Random) -> str:
    low = draw.randint(20, 300)
    if draw.random() < 0.4:
        return str(low)
    tail = " tail" if draw.random() < 0.3 else ""
    return f"{low}..{low + draw.randint(1, 300)}{tail}"


def _handler(
    draw: random.Random, index: int, cores: int, queues: list[str], basic: list[str]
) -> str:
    steps = [f"run {draw.randint(3, 40)}"]
    if queues and draw.random() < 0.6:
        steps += [f"send {draw.choice(queues)}", "run 3"]
    if basic and draw.random() < 0.3:
        steps.append(f"activate {draw.choice(basic)}")
    lines = [
        f"[isrs.i{index}]",
        f"priority = {draw.randint(1, 3)}",
        f'every = "{draw.randint(300, 900)}..{draw.randint(1000, 4000)}"',
        f"core = {draw.randrange(cores)}",
        f"body = {_list(steps)}",
    ]
    if draw.random() < 0.3:
        lines.append("pend = true")
    return "\n".join(lines)


def _list(steps: list[str]) -> str:
    return "[" + ", ".join(f'"{step}"' for step in steps) + "]"
