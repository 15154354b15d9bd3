"""Arguments and options that commands share."""

from pathlib import Path
from typing import Annotated

import typer

StudyFolder = Annotated[Path, typer.Argument(help="The study folder (it holds study.toml).")]
Quiet = Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")]
Json = Annotated[bool, typer.Option("--json", help="Print the summary as one JSON object.")]
