"""``sulca fit``: the analyses of a plan on any table."""

from collections.abc import Callable
from pathlib import Path

from pipeline.analyse import run_analyses
from pipeline.fit_input import read_table, typed_for
from pipeline.plan import read_plan
from pipeline.summary import Summary
from schemas.codebook import by_name, read_codebook
from shared.files import write_csv, write_parquet


def fit_table(
    table: Path, plan: Path, out: Path, *, on_step: Callable[[str], None] = lambda _name: None
) -> Summary:
    """Run every analysis of a plan file on a table and write results and curves.

    Parameters
    ----------
    table
        CSV (UTF-8, comma, header; blank and NA are missing) or Parquet, one row a unit.
    plan
        TOML with [[analysis]] blocks, see ``pipeline.plan``.
    out
        Folder for results.csv, results.parquet and curves.parquet.
    on_step
        Called with the id of each analysis before it runs.

    Raises
    ------
    StudyError
        If a file cannot be read or the plan does not fit the table; nothing is written then.
    """
    analyses = read_plan(plan)
    frame = typed_for(read_table(table), analyses, where=table.name)
    done = run_analyses(frame, analyses, codebook=by_name(read_codebook()), on_step=on_step)
    written = {
        "results": out / "results.csv",
        "results, typed": out / "results.parquet",
        "curves": out / "curves.parquet",
    }
    write_csv(written["results"], done.results)
    write_parquet(written["results, typed"], done.results)
    write_parquet(written["curves"], done.curves)
    return Summary(
        done=f"{len(analyses)} analyses of {len(frame)} rows.",
        counts={"rows of results": len(done.results), "points of curves": len(done.curves)},
        written=written,
    )
