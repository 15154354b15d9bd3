"""The command line: arguments to one stage to one summary; heavy imports inside the commands."""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline import cli_clinics, cli_explore, cli_size
from pipeline.cli_options import Json, Quiet, StudyFolder
from pipeline.process import settle_process
from pipeline.terminal import Progress, finish, guarded

if TYPE_CHECKING:
    from pipeline.run import Run

settle_process()

app = typer.Typer(
    name="sulca",
    help="Multi-clinic studies of patellar luxation surgery: from raw clinic exports to a report.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


@app.command("demo", epilog="Example: sulca demo demo-study")
def demo_command(
    folder: Annotated[Path, typer.Argument(help="Where the demo study goes.")] = Path("demo-study"),
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Write the invented demo study of five clinics and run it whole."""
    from pipeline.demo import write_demo_study

    write_demo_study(folder)
    _run(folder, "report", quiet=quiet, as_json=as_json)


@app.command("new", epilog="Example: sulca new my-study")
def new_command(
    folder: Annotated[Path, typer.Argument(help="Folder to make; must be empty or absent.")],
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Make a commented study skeleton with one filled mapping and empty templates."""
    from pipeline.new import create_study
    from pipeline.summary import Summary

    written = create_study(folder)
    summary = Summary(
        done=f"A study skeleton of {len(written)} files.",
        written={"study file": folder / "study.toml", "exports go to": folder / "exports"},
        next_step=f"sulca check {folder}",
    )
    finish(summary, quiet=quiet, as_json=as_json)


app.command("map", epilog="Example: sulca map exports/east/*.csv --clinic east --out my-study")(
    cli_clinics.map_command
)
app.command("contract", epilog="Example: sulca contract my-study")(cli_clinics.contract_command)
app.command(
    "mask",
    epilog="Example: sulca mask export/stifles.csv --key ~/keys/network.key --out send/stifles.csv",
)(cli_clinics.mask_command)
app.command("answers", epilog="Example: sulca answers my-study north-filled.xlsx")(
    cli_clinics.answers_command
)
app.command(
    "trace",
    epilog="Example: sulca trace my-study --stifle north:A-0104:left --variable relux_day",
)(cli_clinics.trace_command)


@app.command("run", epilog="Example: sulca run my-study")
def run_command(folder: StudyFolder, quiet: Quiet = False, as_json: Json = False) -> None:
    """Run every stage, from exports to report."""
    _run(folder, "report", quiet=quiet, as_json=as_json)


@app.command("check", epilog="Example: sulca check my-study --strict")
def check_command(
    folder: StudyFolder,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit 1 while a stop or hold finding is open.")
    ] = False,
    draft: Annotated[
        bool,
        typer.Option(
            "--draft",
            help="While a mapping is mended: lists go to out/queries/draft, no round begins.",
        ),
    ] = False,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Read and check the exports, and write a query list for each clinic.

    Every later stage does so too. A round with the clinics ends when exports, mappings or
    corrections have changed since the last of them without --draft. To count rounds anew, delete
    out/queries.
    """
    done = _run(folder, "check", quiet=quiet, as_json=as_json, draft=draft)
    if strict and done.open_blocking:
        raise typer.Exit(1)


@app.command("cohort", epilog="Example: sulca cohort my-study --why north:A-0104:left")
def cohort_command(
    folder: StudyFolder,
    why: Annotated[
        str, typer.Option("--why", help="Say why this stifle is in, or where it left.")
    ] = "",
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Link the animals, apply the eligibility steps and derive the outcomes.

    The query lists are written as by check: a round begins where exports, mappings or corrections
    have changed.
    """
    done = _run(folder, "cohort", quiet=quiet or bool(why), as_json=as_json)
    if why:
        from pipeline.stopped_stifle import why as why_of

        sys.stdout.write(why_of(done, why) + "\n")


app.command("explore", epilog="Example: sulca explore my-study")(cli_explore.explore_command)


@app.command("analyse", epilog="Example: sulca analyse my-study")
def analyse_command(folder: StudyFolder, quiet: Quiet = False, as_json: Json = False) -> None:
    """Run the analyses of the plan and write the results table."""
    _run(folder, "analyse", quiet=quiet, as_json=as_json)


@app.command("compare", epilog="Example: sulca compare my-study")
def compare_command(folder: StudyFolder, quiet: Quiet = False, as_json: Json = False) -> None:
    """Compare the clinics with what their case mix lets expect."""
    _run(folder, "compare", quiet=quiet, as_json=as_json)


@app.command("report", epilog="Example: sulca report my-study")
def report_command(folder: StudyFolder, quiet: Quiet = False, as_json: Json = False) -> None:
    """Write the report, figures, tables and clinic pages."""
    _run(folder, "report", quiet=quiet, as_json=as_json)


@app.command("fit", epilog="Example: sulca fit --table lbw.csv --plan plan.toml --out refit")
def fit_command(
    table: Annotated[Path, typer.Option("--table", help="CSV or Parquet, one row per unit.")],
    plan: Annotated[Path, typer.Option("--plan", help="TOML file with [[analysis]] blocks.")],
    out: Annotated[Path, typer.Option("--out", help="Folder for results.csv and .parquet.")],
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Run analyses of a plan on any table."""
    from pipeline.fit import fit_table

    with Progress("Fitting", quiet=quiet or as_json) as on_step:
        summary = fit_table(table, plan, out, on_step=on_step)
    finish(summary, quiet=quiet, as_json=as_json)


@app.command("verify", epilog="Example: sulca verify my-study")
def verify_command(folder: StudyFolder, quiet: Quiet = False, as_json: Json = False) -> None:
    """Rerun the study from its inputs and compare every number; exit 1 if anything differs."""
    from pipeline.verify import verify

    with Progress("Verifying", quiet=quiet or as_json) as on_step:
        verdict = verify(folder, on_step=on_step)
    finish(verdict.summary, quiet=quiet, as_json=as_json)
    if not verdict.same:
        raise typer.Exit(1)


@app.command("simulate", epilog="Example: sulca simulate invented --stifles 2000 --seed 7")
def simulate_command(
    folder: Annotated[Path, typer.Argument(help="Where the invented study goes.")],
    stifles: Annotated[int, typer.Option("--stifles", min=50, help="Operated stifles.")] = 900,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Seed of the random numbers.")] = 1,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Write invented exports of any size with known truth."""
    from pipeline.simulate.folder import simulate_folder
    from pipeline.summary import Summary

    written = simulate_folder(folder, seed=seed, n_stifles=stifles)
    summary = Summary(
        done=f"An invented study of about {stifles} stifles, {len(written)} files.",
        written={"study": folder, "truth": folder / "truth.csv"},
        next_step=f"sulca run {folder}",
    )
    finish(summary, quiet=quiet, as_json=as_json)


app.add_typer(cli_size.app, name="size")


def _run(folder: Path, until: str, *, quiet: bool, as_json: bool, draft: bool = False) -> "Run":
    from pipeline.run import run_study

    with Progress("Running", quiet=quiet or as_json) as on_step:
        say = _say(quiet or as_json)
        done = run_study(folder, until=until, on_step=on_step, say=say, draft=draft)
    finish(done.summary, quiet=quiet, as_json=as_json)
    return done


def _say(silent: bool) -> Callable[[str], None]:
    return (lambda _text: None) if silent else (lambda text: typer.echo(text))


def main() -> None:
    """Run a command; the user sees what to do, never a traceback."""
    command: Callable[[], object] = app
    guarded(command)
