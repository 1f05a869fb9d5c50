"""The ways colours were made."""

from __future__ import annotations

import click

from archive.cli.command import Group, limit_option
from archive.cli.face import Face, table
from archive.services.recipe_list import list_recipes

recipe = Group(
    "recipe",
    help="List what was printed over what, and how often.\n\n"
    "Example: inkchest recipe list --ink Ferrywake --over Dockrope",
)


@recipe.command("list")
@click.option("--ink", metavar="INK", help="With this ink.")
@click.option("--over", metavar="INK", help="Printed over this one.")
@click.option("--paper", metavar="PAPER", help="On this paper.")
@limit_option(100, "ink sets")
@click.pass_obj
def recipe_list(face: Face, ink: str | None, over: str | None, paper: str | None, limit: int) -> None:
    """List ink sets in printing order: how many recipes, swatches and works hold each.

    Example: inkchest recipe list --ink Ferrywake --over Dockrope
    """
    with face.read() as session:
        found = list_recipes(session, ink=ink, over=over, paper=paper)[:limit]
    face.show(
        found,
        lambda: (
            table(
                ["inks in printing order", "paper", "recipes", "swatches", "works"],
                [[" then ".join(each.inks), each.paper, each.recipes, each.swatches, each.works] for each in found],
            )
            if found
            else "None, as far as the archive knows."
        ),
    )
