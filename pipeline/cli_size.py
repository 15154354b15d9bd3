"""Sample sizes on the command line: one command a kind of question, answers before any data."""

from typing import Annotated

import typer

from pipeline.cli_options import Json, Quiet
from pipeline.terminal import finish

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="How many stifles and events a question needs.",
)

Power = Annotated[float, typer.Option("--power", help="Chance of finding the effect.")]
Alpha = Annotated[float, typer.Option("--alpha", help="Two-sided error of the test.")]
Exposed = Annotated[float, typer.Option("--share-exposed", help="Share of stifles in one arm.")]
StiflesPerAnimal = Annotated[
    float, typer.Option("--stifles-per-animal", help="Mean number of stifles of an animal.")
]
Correlation = Annotated[
    float, typer.Option("--correlation", help="Intraclass correlation of an animal's stifles.")
]
Explained = Annotated[
    float,
    typer.Option("--explained", help="Share of the exposure that the other terms explain."),
]


@app.command(
    "hazard-ratio",
    epilog="Example: sulca size hazard-ratio --ratio 0.6 --risk 0.12 --stifles-per-animal 1.3 "
    "--correlation 0.2",
)
def hazard_ratio_command(  # noqa: PLR0913, PLR0917 - each an option of its own
    ratio: Annotated[float, typer.Option("--ratio", help="Hazard ratio worth finding.")],
    risk: Annotated[float, typer.Option("--risk", help="Share of stifles with the event.")],
    share_exposed: Exposed = 0.5,
    power: Power = 0.8,
    alpha: Alpha = 0.05,
    stifles_per_animal: StiflesPerAnimal = 1.0,
    correlation: Correlation = 0.0,
    explained: Explained = 0.0,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Events and stifles for a hazard ratio of two arms."""
    from pipeline.size import ask, hazard_ratio, more

    asked = more(stifles_per_animal, correlation, explained)
    summary = ask(hazard_ratio, ratio, risk, share_exposed, power, alpha, asked)
    finish(summary, quiet=quiet, as_json=as_json)


@app.command("risks", epilog="Example: sulca size risks --one 0.15 --other 0.09")
def risks_command(  # noqa: PLR0913, PLR0917
    one: Annotated[float, typer.Option("--one", help="Risk in the first arm.")],
    other: Annotated[float, typer.Option("--other", help="Risk in the second arm.")],
    share_exposed: Exposed = 0.5,
    power: Power = 0.8,
    alpha: Alpha = 0.05,
    stifles_per_animal: StiflesPerAnimal = 1.0,
    correlation: Correlation = 0.0,
    explained: Explained = 0.0,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Stifles for two risks, compared as they are and by a logistic model."""
    from pipeline.size import ask, more, two_risks

    asked = more(stifles_per_animal, correlation, explained)
    summary = ask(two_risks, one, other, share_exposed, power, alpha, asked)
    finish(summary, quiet=quiet, as_json=as_json)


@app.command(
    "prediction",
    epilog="Example: sulca size prediction --parameters 12 --r-squared 0.1 --risk 0.12",
)
def prediction_command(
    parameters: Annotated[int, typer.Option("--parameters", help="Candidate parameters.")],
    r_squared: Annotated[float, typer.Option("--r-squared", help="Cox-Snell R2 expected.")],
    risk: Annotated[float, typer.Option("--risk", help="Overall risk of the outcome.")],
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Stifles for developing a model that predicts a yes/no outcome."""
    from pipeline.size import ask, prediction

    finish(ask(prediction, parameters, r_squared, risk), quiet=quiet, as_json=as_json)
