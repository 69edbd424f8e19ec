"""Reasons in words for people."""


def reason(entry: str, by: str | None, via: str | None) -> str:
    """What a ledger entry says happened meanwhile: 'archive holds flash_bus'."""
    match entry:
        case "execution":
            return "executes"
        case "blocked":
            return f"{by} holds {via}" if via else f"{by} is in the way"
        case "inversion":
            return f"{by} runs, less urgent; {via} held"
        case "interference":
            return f"{by} runs, at least as urgent"
        case "deferred":
            return f"{by} runs, less urgent" + (f": {via}" if via else "")
        case "unranked":
            return f"{by} runs, of unknown priority"
        case "isr":
            return f"interrupt {by}"
        case "suspended":
            return f"waits for {via}" if via else "waits, for what is not in the log"
        case "backlog":
            return "its earlier job is not complete"
        case "switching":
            return "the kernel switches"
        case "asleep":
            return "the core sleeps"
        case _:
            return "not known: a gap in the log"
