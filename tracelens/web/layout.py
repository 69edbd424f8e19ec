"""The page's components: what stands where, and the sentences around the figures."""

from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from tracelens.findings.wording import duration
from tracelens.model.results import Finding
from tracelens.report.numbers import percent, time_in, time_unit
from tracelens.report.plain import plain
from tracelens.web import ids
from tracelens.web.palette import LIGHT
from tracelens.web.runs import Run
from tracelens.web.words import reason

PANELS = (("load", "load"), ("responses", "response times"))
"""(value, label) of each panel; they are shown one at a time."""

_SIGNS = {"error": "■", "warning": "▲", "note": "●"}

_KEY = (
    ("execution", "executes"),
    ("ready", "ready"),
    ("wanted", "waits for a lock"),
    ("isr", "interrupt"),
    ("switching", "kernel switches"),
    ("unknown", "not known"),
)
_MARKS = (
    ("▲", "release"),
    ("▼", "deadline"),
    ("○", "complete"),
    ("✕", "late"),
)
_HINTS = (
    ("← →", "or drag: move"),
    ("+ −", "or wheel: zoom"),
    ("PgUp PgDn", "by a whole window"),
    ("Home End", "to the ends of the run"),
    ("↑ ↓", "other lanes"),
)
_FIGURE: Any = {"displayModeBar": False, "scrollZoom": False, "doubleClick": False}
_MOVABLE: Any = {**_FIGURE, "scrollZoom": True}

_UNSPOKEN: dict[str, Any] = {"aria-hidden": "true"}
"""For what only repeats in a picture what words say elsewhere."""


def page(run_id: str, run: Run) -> Component:
    """The whole page for one run."""
    return html.Div(
        [
            dcc.Location(id=ids.ADDRESS, refresh=False),
            dcc.Store(id=ids.RUN, data={"id": run_id, "span": run.span_ns}),
            dcc.Store(id=ids.VIEW),
            dcc.Store(id=ids.CHOSEN),
            dcc.Store(id=ids.SCREEN),
            dcc.Store(id=ids.DRAWING),
            _header(run),
            _strip(),
            html.Div([_findings(run), _schedule(), _job(), _panels(run)], className="columns"),
        ],
        className="page",
    )


def _header(run: Run) -> Component:
    quality = run.analysis.quality
    cores = run.analysis.cores
    loads = ", ".join(
        f"{lane.label} {'–' if load is None else percent(load) + ' %'}"
        for lane, load in zip(run.lanes.of("core"), cores["load"], strict=True)
    )
    facts = [
        *list(run.analysis.timeline.system.run.items())[:3],
        ("span", duration(run.span_ns)),
        ("load", loads),
        ("known", f"{percent(quality.coverage)} % of core time"),
        ("events", f"{quality.events:,}".replace(",", "\u202f")),
    ]
    damage = (("lost", quality.lost_events), ("contradictions", quality.contradictions))
    facts += [(what, str(count)) for what, count in damage if count]
    return html.Header(
        [
            html.H1(plain(run.name)),
            html.Dl(
                [
                    part
                    for fact in facts
                    for part in (html.Dt(plain(fact[0])), html.Dd(plain(fact[1])))
                ]
            ),
        ]
    )


def _strip() -> Component:
    return html.Section(
        [
            dcc.Graph(id=ids.STRIP, config=_FIGURE, responsive=True),
            html.Div(className="bracket", **_UNSPOKEN),
        ],
        className="strip",
        **_aria("Whole run: load of each core, a tick per late job, the visible window"),
    )


def _findings(run: Run) -> Component:
    found = run.analysis.findings
    return html.Section(
        [
            html.H2("findings"),
            html.Ol([html.Li(_finding(i, finding)) for i, finding in enumerate(found)])
            if found
            else html.P("Nothing to report: no finding in this run.", className="empty"),
        ],
        className="findings",
        **_aria("Findings, most serious first"),
    )


def _finding(index: int, finding: Finding) -> Component:
    # 'x was late. The worst, …': what is wrong stands out, the rest explains.
    first, dot, rest = plain(finding.text).partition(". ")
    content = [
        html.Span(
            _SIGNS.get(finding.severity, "●"),
            className=f"sign {finding.severity}",
            title=finding.severity,
            **_aria(finding.severity),
        ),
        html.Span([first + dot, html.Span(rest, className="quiet")]),
    ]
    if finding.at_ns is None:
        return html.Div(content, className="finding")
    return html.Button(
        content, id=ids.finding(index), className="finding", title="Show the place in the schedule"
    )


def _schedule() -> Component:
    return html.Section(
        [
            html.Div(
                [
                    html.H2("schedule"),
                    html.Button("‹ previous miss", id=ids.PREVIOUS_MISS),
                    html.Button("next miss ›", id=ids.NEXT_MISS),
                    html.Span(id=ids.WHICH_MISS, className="quiet", role="status"),
                    html.Label("go to", htmlFor=ids.JUMP),
                    html.Span(
                        [
                            dcc.Input(
                                id=ids.JUMP,
                                type="text",
                                debounce=True,
                                placeholder="8.12 s",
                                autoComplete="off",
                            ),
                            html.Span(id=ids.JUMP_NOTE, className="wrong", role="alert"),
                        ],
                        className="jump",
                    ),
                    html.Button("whole run", id=ids.WHOLE),
                    html.Span(id=ids.LANES_NOTE, className="quiet right"),
                ],
                className="bar",
            ),
            html.Div(
                dcc.Graph(id=ids.SCHEDULE, config=_MOVABLE, responsive=True),
                className="plot",
                tabIndex="0",
                role="group",
                **_aria("Schedule: one lane per interrupt, task, core and lock"),
            ),
            html.Div(
                [
                    *(
                        html.Span([_swatch(state), label], className="item")
                        for state, label in _KEY
                    ),
                    *(
                        html.Span([html.B(sign), f" {label}"], className="item")
                        for sign, label in _MARKS
                    ),
                    html.Div(
                        [
                            html.Span([html.Kbd(keys), f" {effect}"], className="item")
                            for keys, effect in _HINTS
                        ],
                        className="hints",
                    ),
                ],
                className="key",
            ),
        ],
        className="schedule",
    )


def _job() -> Component:
    return html.Section(
        [
            html.H2("this job", id=ids.JOB_TITLE),
            html.Div(
                [
                    dcc.Graph(id=ids.JOB_FIGURE, config=_FIGURE, responsive=True),
                    html.P(id=ids.JOB_EMPTY, className="empty"),
                ],
                className="plot",
            ),
            html.Ol(id=ids.JOB_WORDS),
        ],
        className="job",
        **_aria("This job: where its response time went"),
    )


def _panels(run: Run) -> Component:
    tasks = [plain(lane.name) for lane in run.lanes.of("task") if not lane.idle]
    names = [lane.name for lane in run.lanes.of("task") if not lane.idle]
    return html.Section(
        [
            html.Div(
                [
                    dcc.RadioItems(
                        [{"value": value, "label": label} for value, label in PANELS],
                        id=ids.PANELS,
                        value=PANELS[1][0],
                        className="tabs",
                        inline=True,
                    ),
                    html.Div(
                        dcc.Dropdown(
                            [
                                {"label": label, "value": name}
                                for label, name in zip(tasks, names, strict=True)
                            ],
                            id=ids.PANEL_TASK,
                            value=names[0] if names else None,
                            clearable=False,
                            searchable=len(names) > 12,
                        ),
                        id=ids.TASK_CHOOSER,
                        className="chooser",
                        **_aria("Task"),
                    ),
                ],
                className="bar",
            ),
            html.Div(
                [
                    dcc.Graph(id=ids.PANEL_FIGURE, config=_FIGURE, responsive=True),
                    html.P(id=ids.PANEL_EMPTY, className="empty"),
                ],
                className="plot",
            ),
        ],
        className="panel",
        **_aria("Panels"),
    )


def _aria(label: str) -> dict[str, Any]:
    """What a screen reader calls a part of the page."""
    return {"aria-label": label}


def job_words(ledger: list[tuple[str, str | None, str | None, int]]) -> list[Component]:
    """The entries of a ledger in words, as list items, the largest first; in one unit."""
    unit = time_unit(ns for _, _, _, ns in ledger)
    return [
        html.Li(
            [
                _swatch(entry),
                html.Span(f"{time_in(unit, ns)} {unit}", className="amount"),
                html.Span(reason(entry, by and plain(by), via and plain(via))),
            ]
        )
        for entry, by, via, ns in ledger
    ]


def _swatch(state: str) -> Component:
    hatched = " hatched" if LIGHT.states[state].hatch else ""
    return html.Span(
        className=f"swatch{hatched}",
        style={"--fill": f"var(--{state}-fill)", "--edge": f"var(--{state}-edge)"},
        **_UNSPOKEN,
    )
