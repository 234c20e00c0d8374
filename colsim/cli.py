"""The command line: a shell over the library. Results go to standard output, progress to standard error."""

from __future__ import annotations

import json
import math
import os
import sys
import tempfile
import time
from collections.abc import Sequence
from contextlib import suppress
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from colsim.advice import compare_containers, find_spacer, simulate_sweep
from colsim.advice.cautions import CAUTIONS
from colsim.advice.decision import Decision
from colsim.advice.report import as_json_object, as_text, check_as_text, why
from colsim.advice.spacer import MAX_FILLS
from colsim.errors import ColsimError, OutputError, ScenarioError
from colsim.model import CATALOGUE, Scenario
from colsim.model.base import keys
from colsim.sampling import simulate_fill
from colsim.sampling.draws import fresh_seed
from colsim.sampling.many_fills import process_pool

if TYPE_CHECKING:
    import pandas as pd

SWEEP_FILLS = 48
MOST_POINTS = 200
_FEWER_POINTS = f"allowed: {MOST_POINTS} in all; take a larger step or fewer values"
_ROUNDING = Decimal("1e-9")  # of a step, by which a range's upper end may lie beyond its last value
_TRUTH = {"true": True, "false": False}

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="How bottles and cans jam in the columns of a drink vending machine, and what to change.",
)
Seed = Annotated[int | None, typer.Option(min=0, help="seed of all draws; a fresh one if not given")]
Workers = Annotated[int | None, typer.Option(min=1, help="processes; one for each core if not given")]
ScenarioFile = Annotated[Path, typer.Argument(metavar="FILE", help="scenario in TOML", show_default=False)]


@app.command()
def check(
    file: ScenarioFile,
    show_why: Annotated[bool, typer.Option("--why", help="also say what theory stands behind each number")] = False,
) -> None:
    """Check a scenario, and say what follows from the measurements alone."""
    _print(check_as_text(Scenario.from_toml(file), show_why=show_why))


@app.command()
def advise(
    file: ScenarioFile,
    max_fills: Annotated[int, typer.Option(min=1, help="virtual loadings an option and end, at most")] = MAX_FILLS,
    seed: Seed = None,
    workers: Workers = None,
    json_path: Annotated[
        Path | None, typer.Option("--json", metavar="PATH", help="write the answer here, for a program")
    ] = None,
    pictures: Annotated[Path | None, typer.Option(metavar="DIR", help="write pictures into this folder")] = None,
    show_why: Annotated[bool, typer.Option("--why", help="also say what stands behind the answer")] = False,
) -> None:
    """Simulate, and say which spacer to use, how sure that is, and why."""
    scenario = Scenario.from_toml(file)
    # What cannot be written is found out before the work, not after it.
    _require_file_to_be(json_path)
    if pictures is not None:
        _require_folder_to_be(pictures)
    begun = time.monotonic()
    seed = fresh_seed() if seed is None else seed
    with process_pool(workers) as pool:
        decision = find_spacer(scenario, max_fills=max_fills, seed=seed, executor=pool, progress=True)
    _print(as_text(scenario, decision))
    if show_why:
        _print(why(scenario, decision))
    cores = workers or os.cpu_count() or 1
    _print(f"{time.monotonic() - begun:.0f} s, {cores} processes, seed {seed}" + ("" if show_why else "   more: --why"))
    if json_path is not None:
        _write_whole(json_path, json.dumps(as_json_object(scenario, decision), indent=2, allow_nan=False) + "\n")
        _print(f"written: {json_path}")
    if pictures is not None:
        for path in _draw(scenario, decision, pictures):
            _print(f"drawn: {path}")


@app.command()
def compare(
    file: ScenarioFile,
    names: Annotated[
        list[str], typer.Argument(metavar="NAME...", help="containers of the scenario or of the catalogue")
    ],
    max_fills: Annotated[int, typer.Option(min=1, help="virtual loadings a spacer and end, at most")] = MAX_FILLS,
    seed: Seed = None,
    workers: Workers = None,
    csv: Annotated[Path | None, typer.Option(metavar="PATH", help="write the table here")] = None,
    chart: Annotated[Path | None, typer.Option(metavar="PATH", help="draw the chart here, as PNG or SVG")] = None,
) -> None:
    """Simulate several containers in the column, and say which belong in it, with which spacer."""
    scenario = Scenario.from_toml(file)
    for path in (csv, chart):
        _require_file_to_be(path)
    begun = time.monotonic()
    seed = fresh_seed() if seed is None else seed
    with process_pool(workers) as pool:
        comparison = compare_containers(scenario, names, max_fills=max_fills, seed=seed, executor=pool, progress=True)
    _print(comparison.summary())
    _print_cautions_and_time(begun, workers, seed)
    if csv is not None:
        _write_table(csv, comparison.to_dataframe())
    if chart is not None:
        from matplotlib.figure import Figure

        from colsim.pictures import plot_comparison

        figure = Figure(figsize=(8.0, 1.6 + 0.55 * len(names)), layout="constrained")
        plot_comparison(comparison, figure.add_subplot())
        figure.savefig(chart, dpi=150)
        _print(f"drawn: {chart}")


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
    seed: Seed = None,
    workers: Workers = None,
    csv: Annotated[Path | None, typer.Option(metavar="PATH", help="write the table here")] = None,
) -> None:
    """Simulate every combination of some values of any key of the scenario."""
    values = _read_sweep(over)
    scenario = Scenario.from_toml(file)
    _require_file_to_be(csv)
    begun = time.monotonic()
    seed = fresh_seed() if seed is None else seed
    with process_pool(workers) as pool:
        swept = simulate_sweep(scenario, values, fills=fills, seed=seed, executor=pool, progress=True)
    _print(swept.summary())
    _print_cautions_and_time(begun, workers, seed)
    if csv is not None:
        _write_table(csv, swept.to_dataframe())


@app.command()
def catalogue() -> None:
    """List the generic container sizes, with the source of each figure."""
    units = {"diameter": "mm", "length": "mm", "mass": "kg", "empty_mass": "kg"}
    for entry in CATALOGUE.values():
        _print(entry.name)
        for field, figure in entry.figures.items():
            _print(f"   {field:<11} {figure.value:>8g} {units[field]:<3} {figure.source}")
    _print("\nMeasure your own: makers differ, and a millimetre decides a spacer.")


@app.command()
def schema(
    table: Annotated[bool, typer.Option("--table", help="as a table to read, instead of JSON Schema")] = False,
) -> None:
    """Print what a scenario file may hold: every key, its unit, bounds and how it is measured."""
    if not table:
        _print(json.dumps(Scenario.model_json_schema(), indent=2))
        return
    for key in keys(Scenario):
        _print(f"{key.path}   ({'; '.join(text for text in (key.allowed, key.default) if text)})")
        _print(f"      {key.description}")
    _print(
        "\nIn place of a number of a container, the column, a liner, the rotor or the loading, a table may stand:\n"
        "   kind       varies (from fill to fill, or from one container to the next) | unknown (nobody measured it)\n"
        "   shape      uniform (low, high) | normal (typical, deviation) | lognormal (typical, factor) | fixed\n"
        "   per        fill | container, for what varies; a size is drawn for each container if not given\n"
        "   origin     where it comes from"
    )


def main() -> None:
    """Run the command line; what colsim refuses is said in plain text with exit code 2."""
    try:
        app()
    except ColsimError as error:
        print(f"colsim: {error}", file=sys.stderr)  # noqa: T201 (this is the command line)
        sys.exit(2)


def _print(text: str) -> None:
    typer.echo(text)


def _print_cautions_and_time(begun: float, workers: int | None, seed: int) -> None:
    for caution in CAUTIONS:
        _print(f"   {caution}")
    _print(f"{time.monotonic() - begun:.0f} s, {workers or os.cpu_count() or 1} processes, seed {seed}")


def _read_sweep(over: Sequence[str]) -> dict[str, list[object]]:
    """Read what is to be changed, each as ``PATH=VALUES``; refuse more points than anybody would wait for."""
    values: dict[str, list[object]] = {}
    for text in over:
        path, equals, listed = (part.strip() for part in text.partition("="))
        if not (path and equals):
            raise ScenarioError([("--over", f'got "{text}"; allowed: PATH=VALUES, such as loading.count=8,10,12')])
        if path in values:
            raise ScenarioError([(f"--over {path}", "got twice; allowed: once, with all its values")])
        values[path] = _read_values(path, listed)
    points = math.prod(len(each) for each in values.values())
    if points > MOST_POINTS:
        raise ScenarioError([("--over", f"got {points} combinations; {_FEWER_POINTS}")])
    return values


def _read_values(path: str, text: str) -> list[object]:
    """Read a list such as ``12,14,16`` or ``60 mm,62 mm``, or a range such as ``12:16:2``."""
    if ":" in text:
        return _read_range(path, text)
    items = [item.strip() for item in text.split(",")]
    if not all(items):
        what = "an empty place in the list" if any(items) else "no values"
        raise ScenarioError([(f"--over {path}", f'got "{text}", {what}; allowed: a list 12,14,16 or a range 12:16:2')])
    values = [_read_value(item) for item in items]
    bare = any(isinstance(value, (int, float)) for value in values)
    if bare and any(isinstance(value, str) and value[0] in "0123456789.+-" for value in values):
        wrong = "some values with a unit and some without"  # as a decimal comma would give
        raise ScenarioError(
            [(f"--over {path}", f'got "{text}", {wrong}; allowed: all with their unit or none, and a decimal point')]
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


def _read_range(path: str, text: str) -> list[object]:
    """Read ``low:high:step``, in decimals so that the upper end is not lost to rounding."""
    name = f"--over {path}"
    try:
        low, high, step = (Decimal(part.strip()) for part in text.split(":"))
        steps = (high - low) / (step or 1)
        readable = steps.is_finite() and step.is_finite()
    except (ValueError, ArithmeticError):
        readable = False
    if not readable:
        allowed = "allowed: low:high:step in plain numbers, such as 12:16:2; list values with units: 60 mm,62 mm"
        raise ScenarioError([(name, f'got "{text}"; {allowed}')])
    if step == 0:
        raise ScenarioError([(name, f'got "{text}", a step of 0; allowed: any other')])
    if steps < 0:
        raise ScenarioError([(name, f'got "{text}", a step that leads away from {high}; turn its sign')])
    if steps >= MOST_POINTS:
        raise ScenarioError([(name, f'got "{text}", more than {MOST_POINTS} values; {_FEWER_POINTS}')])
    numbers = [low + k * step for k in range(math.floor(steps + _ROUNDING) + 1)]
    whole = all(number == number.to_integral_value() for number in (low, step))
    return [int(number) if whole else float(number) for number in numbers]


def _require_writable(folder: Path) -> None:
    try:
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        raise OutputError(
            f"{folder}: cannot be written to ({error.strerror}); give a folder that exists and is yours"
        ) from None


def _require_file_to_be(path: Path | None) -> None:
    """Refuse a file that cannot be written."""
    if path is None:
        return
    _require_writable(path.parent)
    if path.exists() and not path.is_file():
        raise OutputError(f"{path}: is a folder or device; give the path of a file to write")


def _require_folder_to_be(folder: Path) -> None:
    """Refuse a folder that neither is nor can be made."""
    there = next(path for path in (folder, *folder.absolute().parents) if path.exists())
    if not there.is_dir():
        raise OutputError(f"{folder}: cannot be made ({there} is a file); give another folder for the pictures")
    _require_writable(there)


def _write_table(path: Path, table: pd.DataFrame) -> None:
    _write_whole(path, table.to_csv(index=False))
    _print(f"written: {path}")


def _write_whole(path: Path, text: str) -> None:
    """Write a file whole or not at all."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_text(text, encoding="utf-8")
        part.replace(path)
    except OSError as error:
        raise OutputError(f"{path}: cannot be written ({error.strerror})") from None
    finally:
        part.unlink(missing_ok=True)


def _draw(scenario: Scenario, decision: Decision, folder: Path) -> list[Path]:
    """Draw the column as it is now where it first fails, as recommended, and the risk by how full it is."""
    from matplotlib.figure import Figure

    from colsim.pictures import plot_column, plot_risk

    chosen = {"as-it-is-now": scenario.rotor.spacer_thickness}
    if decision.recommended is not None:
        chosen["recommended"] = decision.recommended
    folder.mkdir(parents=True, exist_ok=True)
    by_value = {option.value: option for option in decision.options}
    paths = []
    for name, thickness in chosen.items():
        changed = scenario.changed(**{"rotor.spacer_thickness": thickness})
        number = by_value[thickness].first_failure if thickness in by_value else None
        fill = simulate_fill(changed, seed=decision.seed, fill=number or 0, record=True)
        figure = Figure(figsize=(6.4, 8.0), layout="constrained")
        # Where it stuck; or, if it never did, as it stands when loaded, just before the drum first turns.
        turned = next((k for k, frame in enumerate(fill.frames) if abs(frame.drum_angle) > 0.02), 1)
        plot_column(fill, -1 if fill.failure else max(0, turned - 1), ax=figure.add_subplot())
        paths.append(folder / f"column-{name}.png")
        figure.savefig(paths[-1], dpi=150)
    now = by_value.get(scenario.rotor.spacer_thickness)
    if now is not None:
        figure = Figure(figsize=(6.4, 4.0), layout="constrained")
        plot_risk(now.fills, figure.add_subplot())
        paths.append(folder / "risk-as-it-is-now.png")
        figure.savefig(paths[-1], dpi=150)
    return paths
