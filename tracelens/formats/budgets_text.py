"""Budgets as TOML text, and quantities as a budgets file writes them."""

from collections.abc import Mapping, Sequence

from tracelens.model.budgets import Budget, Budgets, Measure, dotted, table_path

Path = tuple[str, ...]


def write(budgets: Budgets, remarks: Mapping[Path, Sequence[str]]) -> str:
    """The same as TOML text. `remarks` are comment lines for the tables, by path below `budgets`.

    A limit is written in the unit of its key, so reading gives the same limits again.
    """
    tables: dict[Path, list[str]] = {}
    for budget in budgets.limits:
        path = tuple(table_path(budget.group, budget.name, budget.phase))
        tables.setdefault(path, []).append(_line_of(budget))
    for path in remarks:
        tables.setdefault(path, [])
    text = []
    if budgets.tolerated_loss:
        text.append(f"[budgets]\ntolerated_loss = {budgets.tolerated_loss!r}\n")
    for path, lines in tables.items():
        said = [f"# {line}" for line in remarks.get(path, ())]
        head = f"[{dotted(('budgets', *path))}]"
        text.append("\n".join([head if lines else f"# {head}", *lines, *said]) + "\n")
    return "\n".join(text)


def _line_of(budget: Budget) -> str:
    value = number_text(budget.measure, budget.limit)
    extras = [f'severity = "{budget.severity}"'] if budget.severity != "error" else []
    if budget.of is not None:
        extras.insert(0, f"of = {budget.of}")
    if not extras:
        return f"{budget.measure.key} = {value}"
    bound = "at_least" if budget.measure.least else "at_most"
    return f"{budget.measure.key} = {{ {bound} = {value}, {', '.join(extras)} }}"


def number_text(measure: Measure, value: float) -> str:
    """A limit or a measured value in the unit of the key, exactly: 1800, 1800.001, 0.7."""
    if measure.unit == "us":
        whole, rest = divmod(abs(int(value)), 1000)
        decimals = f".{rest:03}".rstrip("0") if rest else ""
        return f"{'-' if value < 0 else ''}{whole}{decimals}"
    if measure.unit in ("count", "bytes"):
        return str(int(value))
    return repr(float(value)) if value % 1 else str(int(value))
