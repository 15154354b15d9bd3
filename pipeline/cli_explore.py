"""The feasibility page on the command line."""

import sys
from typing import Annotated

import typer

from pipeline.cli_options import StudyFolder
from pipeline.terminal import Progress
from shared.errors import InputFileError


def explore_command(
    folder: StudyFolder,
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="0: any free one.")] = 0,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Only print the address of the page.")
    ] = False,
) -> None:
    """Open a page on this machine to move the switches of the protocol and see what remains."""
    from pipeline.explore.explorer import open_explorer
    from pipeline.explore.server import start_server
    from pipeline.run import checked_study

    with Progress("Reading", quiet=False) as on_step:
        done = checked_study(folder, on_step)
        on_step("building the cohort")
        explorer = open_explorer(done.linked, done.study)
    try:
        server, address = start_server(explorer, port)
    except OSError as error:
        raise InputFileError(
            f"port {port}", "another program uses it", do="Leave --port out: any free one is taken."
        ) from error
    sys.stdout.write(f"The page is at {address}\nEnd it with Ctrl-C.\n")
    sys.stdout.flush()
    if not no_browser:
        typer.launch(address)
    try:
        server.serve_forever()
    except KeyboardInterrupt:
        sys.stdout.write("\nEnded.\n")
    finally:
        server.server_close()
