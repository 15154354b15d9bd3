"""Commands about clinics and what they send; each imports its work inside."""

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli_options import Json, Quiet, StudyFolder
from pipeline.terminal import Progress, finish


def contract_command(folder: StudyFolder, quiet: Quiet = False, as_json: Json = False) -> None:
    """Write what to send to clinics: cover page, dictionary, templates, Data Package."""
    from pipeline.contract import WORKBOOK, write_contract
    from pipeline.summary import Summary

    written = write_contract(folder)
    contract = folder / "contract"
    summary = Summary(
        done=f"What clinics need to know and to fill in, {len(written)} files.",
        written={"start with": contract / "index.html", "dictionary": contract / "dictionary.html",
                 "workbook": contract / WORKBOOK, "Data Package": contract / "datapackage.json"},
        next_step="send the folder contract/ to each clinic",
    )  # fmt: skip
    finish(summary, quiet=quiet, as_json=as_json)


def mask_command(
    file: Annotated[Path, typer.Argument(help="One file of the export.")],
    key: Annotated[Path, typer.Option("--key", help="File with the network's key.")],
    out: Annotated[Path, typer.Option("--out", help="Where the masked CSV goes.")],
    config: Annotated[
        Path | None,
        typer.Option("--config", help="What each column is; mask.toml beside the file."),
    ] = None,
    codes: Annotated[
        Path | None,
        typer.Option("--codes", help="Table of own codes and tokens; it stays in the clinic."),
    ] = None,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Mask a file inside the clinic before it is sent: tokens, shifted dates, no free text."""
    from pipeline.mask import mask_file
    from pipeline.summary import Summary

    settings = config or file.parent / "mask.toml"
    done = mask_file(file, key, out=out, config_path=settings, codes=codes)
    written = {"to send": done.out, "counts": done.report}
    summary = Summary(
        done=f"{done.counts['rows written']} of {done.counts['rows read']} rows are masked.",
        counts=done.counts, written=written | ({"stays here": codes} if codes else {}),
        remarks=(
            "In the mapping: dates_shifted = true, dates as YYYY-MM-DD.",
            "Mask and send all files of one export together: they share each animal's shift.",
        ),
        next_step="look through the masked file, then send it with its report",
    )  # fmt: skip
    finish(summary, quiet=quiet, as_json=as_json)


def answers_command(
    paths: Annotated[
        list[Path],
        typer.Argument(metavar="[DIR] FILE", help="The filled query list, after its study folder."),
    ],
    clinic: Annotated[
        str, typer.Option("--clinic", help="Whose list it is; else found from its questions.")
    ] = "",
    who: Annotated[str, typer.Option("--who", help="Who answered; else the clinic.")] = "",
    on: Annotated[
        datetime | None,
        typer.Option("--on", formats=["%Y-%m-%d"], help="When it was answered; else today."),
    ] = None,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Read a filled query list into corrections.csv; what cannot be taken is listed.

    Without DIR the study is the folder with study.toml above FILE, else the one you stand in.
    The exports are never changed. corrections.csv is an input, so today's date may stand in it.
    """
    from pipeline.answers import answers_summary, study_of, take_answers
    from pipeline.run import checked_study

    folder, path = study_of(paths)
    with Progress("Reading answers", quiet=quiet or as_json) as on_step:
        done = checked_study(folder, on_step)
        day = (on or datetime.now().astimezone()).date()
        taken = take_answers(done, path, clinic=clinic, who=who, on=day)
    finish(answers_summary(taken, folder), quiet=quiet, as_json=as_json)


def trace_command(
    folder: StudyFolder,
    stifle: Annotated[str, typer.Option("--stifle", help="A stifle_id of the cohort.")],
    variable: Annotated[str, typer.Option("--variable", help="A column of the cohort.")],
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Show the cells of the exports behind one value of the cohort, and what became of them."""
    from pipeline.run import cohort_study
    from pipeline.trace import trace
    from pipeline.trace_text import trace_json, trace_text

    with Progress("Tracing", quiet=quiet or as_json) as on_step:
        found = trace(cohort_study(folder, on_step), stifle, variable)
    typer.echo(trace_json(found) if as_json else trace_text(found))


def map_command(
    files: Annotated[list[Path], typer.Argument(help="The files of the clinic's export.")],
    clinic: Annotated[str, typer.Option("--clinic", help="The clinic's code.")],
    out: Annotated[Path, typer.Option("--out", help="The study folder, or any other.")],
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Draft a clinic's mapping from its export; nothing runs until a person settled the guesses.

    Name every file of the clinic. It writes mappings/<clinic>.toml below the study folder, and a
    page to read beside it. Each [[to_confirm]] block in the mapping is a guess: mend the lines
    below it where it is wrong, then delete the block. sulca check DIR --draft shows what is left.
    docs/onboarding.md goes through it step by step, with the edits that come up most.
    """
    from pipeline.draft.command import draft_mapping

    with Progress("Drafting", quiet=quiet or as_json) as on_step:
        on_step(f"{len(files)} files")
        summary = draft_mapping(files, clinic, out)
    finish(summary, quiet=quiet, as_json=as_json)
