"""The command line: a shell over the library. Results go to standard output, progress to standard error."""

from __future__ import annotations

import json
import math
import os
import signal
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from decimal import Decimal
from functools import partial
from io import BytesIO
from itertools import count as count_from
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Protocol

import typer

from colsim.advice import compare_containers, find_count, simulate_sweep
from colsim.advice.advice import Advice, moment_to_show, replay_to_show
from colsim.advice.advice import advise as advise_on
from colsim.advice.check_report import check_as_text
from colsim.advice.count import MAX_FILLS as MAX_FILLS_OF_COUNT
from colsim.advice.count_table import risk_by_count
from colsim.advice.json_report import as_json_object
from colsim.advice.report import as_text, count_as_text
from colsim.advice.spacer import MAX_FILLS
from colsim.advice.spacer_options import SPACER
from colsim.advice.why import why
from colsim.advice.words import care_as_text
from colsim.cli_new import new, take_options
from colsim.errors import OutputError, ScenarioError
from colsim.model import CATALOGUE, Scenario
from colsim.model.base import keys
from colsim.outputs import require_outputs, table_as_csv, write_whole
from colsim.physics.choice import AUTO, ENGINES, compiles_first, engine_named, make_ready
from colsim.sampling.draws import fresh_seed
from colsim.sampling.workers import WorkerPool, process_pool
from colsim.screen import INTERRUPTED, exit_code_of, say

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["app", "main"]

SWEEP_FILLS = 48
MOST_POINTS = 200
_FEWER_POINTS = f"allowed: {MOST_POINTS} in all; take a larger step or fewer values"
_ROUNDING = Decimal("1e-9")  # of a step, by which a range's upper end may lie beyond its last value
_TRUTH = {"true": True, "false": False}
_CHART_KINDS = (".png", ".svg")
_CUT_SHORT = "INTERRUPTED by Ctrl-C: not all was simulated, and the answer is from what was."
_PICTURES = ("column-as-it-is-now.png", "column-recommended.png", "risk-as-it-is-now.png")

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="How bottles and cans jam in the columns of a drink vending machine, and what to change.",
)
Seed = Annotated[int | None, typer.Option(min=0, help="seed of all draws; a fresh one if not given")]
Workers = Annotated[int | None, typer.Option(min=1, help="processes; one for each core if not given")]
Table = Annotated[Path | None, typer.Option("--csv", metavar="PATH", help="write the table here")]
Chart = Annotated[Path | None, typer.Option("--chart", metavar="PATH", help="draw the chart here, as PNG or SVG")]
Force = Annotated[bool, typer.Option("--force", help="replace files that are there already")]
EngineName = Annotated[
    str, typer.Option(metavar=" | ".join(ENGINES), help="what simulates; auto takes the compiled one")
]
Changes = Annotated[
    list[str] | None,
    typer.Option("--set", metavar="PATH=VALUE", help="change one key of the scenario; once for each key"),
]
ScenarioFile = Annotated[Path, typer.Argument(metavar="FILE", help="scenario in TOML", show_default=False)]


app.callback()(take_options)
app.command()(new)


@app.command()
def check(
    file: ScenarioFile,
    changes: Changes = None,
    show_why: Annotated[bool, typer.Option("--why", help="also say what theory stands behind each number")] = False,
) -> None:
    """Check a scenario, and say what follows from the measurements alone."""
    say(check_as_text(_read_scenario(file, changes), file=str(file), show_why=show_why))


@app.command()
def advise(
    file: ScenarioFile,
    max_fills: Annotated[int, typer.Option(min=1, help="virtual loadings an option and case, at most")] = MAX_FILLS,
    changes: Changes = None,
    seed: Seed = None,
    workers: Workers = None,
    engine: EngineName = AUTO,
    json_path: Annotated[
        Path | None, typer.Option("--json", metavar="PATH", help="write the answer here, for a program")
    ] = None,
    pictures: Annotated[Path | None, typer.Option(metavar="DIR", help="write pictures into this folder")] = None,
    force: Force = False,
    show_why: Annotated[bool, typer.Option("--why", help="also say what stands behind the answer")] = False,
) -> None:
    """Simulate, and say which spacer to use, of soft walls how many to load, how sure that is, and why."""
    scenario = _read_scenario(file, changes)
    require_outputs([json_path, *_pictures_in(pictures)], folder=pictures, scenario=file, force=force)
    with _work(workers, engine, seed) as work:
        advice = advise_on(scenario, max_fills=max_fills, **work.how)
    texts = [as_text(advice, file=str(file)), *([why(advice)] if show_why else [])]
    texts.append(work.took() + ("" if show_why else "   more: --why"))
    with _results(*texts, of=advice, force=force) as results:
        if pictures is not None:
            with suppress(OSError):  # then what goes into it says why it cannot be written
                pictures.mkdir(parents=True, exist_ok=True)
        if json_path is not None:
            text = json.dumps(as_json_object(advice), indent=2, allow_nan=False) + "\n"
            results.write("written", json_path, text.encode("utf-8"))
        if pictures is not None:
            _draw_columns(results, advice, pictures)


@app.command()
def compare(
    file: ScenarioFile,
    names: Annotated[
        list[str], typer.Argument(metavar="NAME...", help="containers of the scenario or of the catalogue")
    ],
    max_fills: Annotated[int, typer.Option(min=1, help="virtual loadings a spacer and case, at most")] = MAX_FILLS,
    changes: Changes = None,
    seed: Seed = None,
    workers: Workers = None,
    engine: EngineName = AUTO,
    csv: Table = None,
    chart: Chart = None,
    force: Force = False,
) -> None:
    """Simulate several containers in the column, and say which belong in it, with which spacer."""
    scenario = _read_scenario(file, changes)
    _require_chart_kind(chart)
    require_outputs([csv, chart], scenario=file, force=force)
    with _work(workers, engine, seed) as work:
        comparison = compare_containers(scenario, names, max_fills=max_fills, **work.how)
    with _results(comparison.summary(), care_as_text(), work.took(), of=comparison, force=force) as results:
        if csv is not None:
            results.write_table(csv, comparison.to_dataframe())
        if chart is not None:
            from colsim.pictures import plot_comparison

            results.draw(chart, (8.0, 1.6 + 0.55 * len(names)), partial(plot_comparison, comparison))


@app.command()
def count(
    file: ScenarioFile,
    counts: Annotated[
        str | None,
        typer.Option(
            metavar="VALUES", help="exactly the counts to look at: 8,10,12 or 8:14:2; looked for if not given"
        ),
    ] = None,
    max_fills: Annotated[
        int, typer.Option(min=1, help="virtual loadings a count and case, at most")
    ] = MAX_FILLS_OF_COUNT,
    changes: Changes = None,
    seed: Seed = None,
    workers: Workers = None,
    engine: EngineName = AUTO,
    csv: Table = None,
    chart: Chart = None,
    force: Force = False,
) -> None:
    """Simulate, and say how many to load."""
    named = None if counts is None else _read_counts(counts)
    scenario = _read_scenario(file, changes)
    _require_chart_kind(chart)
    require_outputs([csv, chart], scenario=file, force=force)
    with _work(workers, engine, seed) as work:
        decision = find_count(scenario, counts=named, max_fills=max_fills, **work.how)
    with _results(count_as_text(decision), care_as_text(), work.took(), of=decision, force=force) as results:
        if csv is not None:
            results.write_table(csv, risk_by_count(decision))
        if chart is not None:
            from colsim.pictures import plot_count

            results.draw(chart, (7.2, 4.6), partial(plot_count, decision))


@app.command()
def sweep(
    file: ScenarioFile,
    over: Annotated[
        list[str],
        typer.Option(
            metavar="PATH=VALUES",
            help="key and its values: column.wall_friction=0.2,0.3 or loading.count=8:14:2; once for each key",
        ),
    ],
    fills: Annotated[int, typer.Option(min=1, help="virtual loadings of each combination")] = SWEEP_FILLS,
    changes: Changes = None,
    seed: Seed = None,
    workers: Workers = None,
    engine: EngineName = AUTO,
    csv: Table = None,
    force: Force = False,
) -> None:
    """Simulate every combination of some values of any key of the scenario."""
    values = _read_sweep(over)
    scenario = _read_scenario(file, changes)
    require_outputs([csv], scenario=file, force=force)
    with _work(workers, engine, seed) as work:
        swept = simulate_sweep(scenario, values, fills=fills, **work.how)
    with _results(swept.summary(), care_as_text(), work.took(), of=swept, force=force) as results:
        if csv is not None:
            results.write_table(csv, swept.to_dataframe())


@app.command()
def catalogue() -> None:
    """List the generic container sizes, with the source of each figure."""
    units = {"diameter": "mm", "length": "mm", "mass": "kg", "empty_mass": "kg", "body_length": "mm"}
    for entry in CATALOGUE.values():
        say(entry.name)
        for field, figure in entry.figures.items():
            value = figure.value if isinstance(figure.value, str) else f"{figure.value:g}"
            say(f"   {field:<11} {value:>9} {units.get(field, ''):<3} {figure.source}")
    say("\nMeasure your own: makers differ, and a millimetre decides a spacer.")


@app.command()
def schema(
    table: Annotated[bool, typer.Option("--table", help="as a table to read, instead of JSON Schema")] = False,
) -> None:
    """Print what a scenario file may hold: every key, its unit, bounds and how it is measured."""
    if not table:
        say(json.dumps(Scenario.model_json_schema(), indent=2))
        return
    for key in keys(Scenario):
        say(f"{key.path}   ({'; '.join(text for text in (key.allowed, key.default) if text)})")
        say(f"      {key.description}")
    say(
        "\nIn place of a number of a container, the column, a liner, the rotor or the loading, a table may stand:\n"
        "   kind       varies (from fill to fill, or from one container to the next) | unknown (nobody measured it)\n"
        "   shape      uniform (low, high) | normal (typical, deviation) | lognormal (typical, factor) | fixed\n"
        "   per        fill | container, for what varies; a size is drawn for each container if not given\n"
        "   origin     where it comes from: one line of text without control characters"
    )


def main() -> None:
    """Run the command line; what colsim refuses is said in plain text with exit code 2."""
    sys.exit(exit_code_of(app))


class _CanBeCutShort(Protocol):
    """An answer that says whether Ctrl-C came before all was simulated."""

    @property
    def interrupted(self) -> bool: ...


@dataclass(frozen=True)
class _Work:
    """What simulates: processes, engine, seed, and since when."""

    how: dict[str, Any]
    workers: int
    begun: float

    def took(self) -> str:
        """Say how long it took, and what to give to have the same again."""
        seconds = time.monotonic() - self.begun
        processes = f"{self.workers} process{'es' * (self.workers != 1)}"
        return f"{seconds:.0f} s, {processes}, {self.how['engine']} engine, seed {self.how['seed']}"


@contextmanager
def _work(workers: int | None, engine: str, seed: int | None) -> Iterator[_Work]:
    """Make what simulates ready; a first run on a machine says that it compiles."""
    engine, begun = engine_named(engine), time.monotonic()
    if compiles_first(engine):
        print("Compiling the engine for this machine, which takes some fifteen seconds, once ...", file=sys.stderr)  # noqa: T201
    make_ready(engine)
    pool = process_pool(workers)
    with _ended_by_a_second_interrupt(pool), pool:  # while the pool shuts down, too
        how = {"seed": fresh_seed() if seed is None else seed, "executor": pool, "engine": engine, "progress": True}
        yield _Work(how, workers or os.cpu_count() or 1, begun)


@contextmanager
def _ended_by_a_second_interrupt(pool: WorkerPool) -> Iterator[None]:
    """Have the first Ctrl-C answer from what is done, and a second one end everything at once."""
    before, pressed = signal.getsignal(signal.SIGINT), count_from(1)

    def on_interrupt(*_: object) -> None:
        if next(pressed) == 1:
            os.write(2, b"\nCtrl-C: the answer is from what is done by now; once more ends at once.\n")
            raise KeyboardInterrupt
        pool.kill()
        os._exit(INTERRUPTED)

    if before is signal.default_int_handler:  # else somebody wants it otherwise
        signal.signal(signal.SIGINT, on_interrupt)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _read_scenario(file: Path, changes: Sequence[str] | None) -> Scenario:
    """Read a scenario, with what is to be changed in it, each as ``PATH=VALUE``."""
    scenario, values = Scenario.from_toml(file), dict[str, Any]()
    for text in changes or ():
        path, equals, value = (part.strip() for part in text.partition("="))
        if not (path and equals and value):
            raise ScenarioError([("--set", f'got "{text}"; allowed: PATH=VALUE, such as rotor.spacer_thickness=12')])
        if path in values:
            raise ScenarioError([(f"--set {path}", "got twice; allowed: once")])
        values[path] = _read_value(value)
    return scenario.changed(**values) if values else scenario


def _read_sweep(over: Sequence[str]) -> dict[str, list[object]]:
    """Read what is to be changed, each as ``PATH=VALUES``; refuse more points than anybody would wait for."""
    values: dict[str, list[object]] = {}
    for text in over:
        path, equals, listed = (part.strip() for part in text.partition("="))
        if not (path and equals):
            raise ScenarioError([("--over", f'got "{text}"; allowed: PATH=VALUES, such as loading.count=8,10,12')])
        if path in values:
            raise ScenarioError([(f"--over {path}", "got twice; allowed: once, with all its values")])
        values[path] = _read_values(f"--over {path}", listed)
    points = math.prod(len(each) for each in values.values())
    if points > MOST_POINTS:
        raise ScenarioError([("--over", f"got {points} combinations; {_FEWER_POINTS}")])
    return values


def _read_counts(text: str) -> list[int]:
    values = _read_values("--counts", text)
    whole = [value for value in values if type(value) is int]  # a truth value is no count
    if len(whole) < len(values):
        allowed = "allowed: whole numbers of containers, as a list 12,14,16 or a range 12:16:2"
        raise ScenarioError([("--counts", f'got "{text}", not all whole numbers; {allowed}')])
    return whole


def _read_values(option: str, text: str) -> list[object]:
    """Read a list such as ``12,14,16`` or ``60 mm,62 mm``, or a range such as ``12:16:2``."""
    if ":" in text:
        return _read_range(option, text)
    items = [item.strip() for item in text.split(",")]
    if not all(items):
        what = "an empty place in the list" if any(items) else "no values"
        raise ScenarioError([(option, f'got "{text}", {what}; allowed: a list 12,14,16 or a range 12:16:2')])
    values = [_read_value(item) for item in items]
    bare = any(isinstance(value, (int, float)) for value in values)
    if bare and any(isinstance(value, str) and value[0] in "0123456789.+-" for value in values):
        wrong = "some values with a unit and some without"  # as a decimal comma would give
        raise ScenarioError(
            [(option, f'got "{text}", {wrong}; allowed: all with their unit or none, and a decimal point')]
        )
    return values


def _read_value(text: str) -> object:
    """Give a number or truth value as a scenario file would hold it; any other text as it is."""
    if text in _TRUTH:
        return _TRUTH[text]
    for kind in (int, float):
        with suppress(ValueError):
            return kind(text)
    return text


def _read_range(option: str, text: str) -> list[object]:
    """Read ``low:high:step``, in decimals so that the upper end is not lost to rounding."""
    try:
        low, high, step = (Decimal(part.strip()) for part in text.split(":"))
        steps = (high - low) / (step or 1)
        readable = steps.is_finite() and step.is_finite()
    except (ValueError, ArithmeticError):
        readable = False
    if not readable:
        allowed = "allowed: low:high:step in plain numbers without units, such as 12:16:2, or a list of all values"
        raise ScenarioError([(option, f'got "{text}"; {allowed}')])
    if step == 0:
        raise ScenarioError([(option, f'got "{text}", a step of 0; allowed: any other')])
    if steps < 0:
        raise ScenarioError([(option, f'got "{text}", a step that leads away from {high}; turn its sign')])
    if steps >= MOST_POINTS:
        raise ScenarioError([(option, f'got "{text}", more than {MOST_POINTS} values; {_FEWER_POINTS}')])
    numbers = [low + k * step for k in range(math.floor(steps + _ROUNDING) + 1)]
    whole = all(number == number.to_integral_value() for number in (low, step))
    return [int(number) if whole else float(number) for number in numbers]


class _Results:
    """What a command leaves: files, which are written at once, and text, which is shown after the last of them."""

    def __init__(self, *, interrupted: bool, force: bool) -> None:
        self._interrupted, self._force = interrupted, force
        self.notes: list[str] = []
        self.problems: list[str] = []

    def draw(self, path: Path, size: tuple[float, float], draw: Callable[[Axes], object]) -> None:
        """Draw on axes of a figure of that size [in], and write it as the kind that its name ends in."""
        from matplotlib.figure import Figure

        figure, drawn = Figure(figsize=size, layout="constrained"), BytesIO()
        draw(figure.add_subplot())
        figure.savefig(drawn, format=path.suffix[1:].lower(), dpi=150)
        self.write("drawn", path, drawn.getvalue())

    def write_table(self, path: Path, table: pd.DataFrame) -> None:
        """Write a table as CSV; one that was cut short says so in a column."""
        self.write("written", path, table_as_csv(table.assign(interrupted=True) if self._interrupted else table))

    def write(self, done: str, path: Path, content: bytes) -> None:
        """Write one file; that it cannot be written keeps back neither the others nor the text."""
        try:
            where = write_whole(path, content, force=self._force)
        except OutputError as error:
            self.problems.append(str(error))
            return
        self.notes.append(f"{done}: {where}")
        if where != path:
            self.problems.append(f"{path}: came to be there during the work, and stays as it is; {done}: {where}")


@contextmanager
def _results(*texts: str, of: _CanBeCutShort, force: bool) -> Iterator[_Results]:
    """Show what a command has to say after its files, whatever becomes of these; exit code 130 if it was cut short."""
    results = _Results(interrupted=of.interrupted, force=force)
    try:
        yield results
    finally:
        say(*texts, *results.notes, *[_CUT_SHORT] * of.interrupted)
    if results.problems:
        raise OutputError("\n".join(results.problems))
    if of.interrupted:
        raise typer.Exit(INTERRUPTED)


def _require_chart_kind(path: Path | None) -> None:
    """Refuse a chart whose kind its name does not tell."""
    if path is not None and path.suffix.lower() not in _CHART_KINDS:
        raise OutputError(
            f'{path}: got the ending "{path.suffix}"; allowed: {" or ".join(_CHART_KINDS)}; give the chart another name'
        )


def _pictures_in(folder: Path | None) -> list[Path]:
    return [] if folder is None else [folder / name for name in _PICTURES]


def _draw_columns(results: _Results, advice: Advice, folder: Path) -> None:
    """Draw the column as it is now where it first fails, as recommended, and the risk by how full it is."""
    from colsim.pictures import plot_column, plot_risk

    decision = advice.spacer
    as_it_is_now, recommended, risk = _pictures_in(folder)
    present = {SPACER: advice.scenario.rotor.spacer_thickness}
    chosen = {as_it_is_now: present}
    if decision.chosen is not None:
        chosen[recommended] = dict(decision.chosen.changes)
    now = next((option for option in decision.options if dict(option.changes) == present), None)
    if now is not None:
        results.draw(risk, (6.4, 4.0), partial(plot_risk, now.fills))
    for path, changes in chosen.items():
        again = replay_to_show(decision, changes)
        results.draw(path, (6.4, 8.0), partial(plot_column, again, moment_to_show(again)))
    drawn = {*chosen, *([] if now is None else [risk])}
    results.notes += [
        f"of an earlier run, not drawn by this one: {path}"
        for path in _pictures_in(folder)
        if path not in drawn and os.path.lexists(path)
    ]
