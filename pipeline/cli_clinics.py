"""Commands about clinics and what they send; each imports its work inside."""

from pipeline.cli_options import Json, Quiet, StudyFolder
from pipeline.terminal import finish


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
