"""What benchmarks share: a table printed as Markdown, and kept where SULCA_BENCH_OUT says."""

import os
import sys
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

Publish = Callable[[pl.DataFrame, str, str], None]


def markdown(table: pl.DataFrame, title: str) -> str:
    """Write a table for the documentation; numbers to four places."""
    lines = [
        f"### {title}",
        "",
        "| " + " | ".join(table.columns) + " |",
        "|---" * table.width + "|",
    ]
    for row in table.iter_rows():
        cells = [f"{cell:.4f}" if isinstance(cell, float) else str(cell) for cell in row]
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join([*lines, "", ""])


@pytest.fixture(scope="session")
def publish() -> Publish:
    """Print a table with its title; the last argument names the file."""

    def to_screen_and_file(table: pl.DataFrame, title: str, name: str) -> None:
        text = markdown(table, title)
        sys.stdout.write(text)
        folder = os.environ.get("SULCA_BENCH_OUT")
        if folder:
            Path(folder, name).write_text(text, encoding="utf-8")

    return to_screen_and_file
