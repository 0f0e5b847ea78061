"""``lightdose selftest``: is this installation whole, and does it compute what is published?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightdose.cli.asking import Ask
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer


@answers(setup=None, folds=False)
def command(_: Ask) -> Answer:
    """Check this installation: its data, its libraries, and published values on this machine.

    \b
    Example:
      lightdose selftest

    Every line says what was expected, what came out and where the expectation is from: published (a named
    source), identity (an exact property), pinned (our own earlier value, which proves only that nothing
    moved). Exit code 1 where a check fails.
    """
    from lightdose.answers.check import selftest_answer
    from lightdose.cli.init import example_folder
    from lightdose.workflows.selftest import self_test

    return selftest_answer(self_test(example_folder(), {"pages": _pages, "printed words": _languages}))


def _pages() -> None:
    """Compile every template, and lay out the desk's page and every page of the guide."""
    from lightdose.desk.page import page
    from lightdose.guide.pages import all_pages
    from lightdose.present.page import page_environment

    environment = page_environment()
    for name in environment.list_templates():
        if name.endswith(".html"):
            environment.get_template(name)
        elif (
            environment.loader is not None and not environment.loader.get_source(environment, name)[0].strip()
        ):
            raise ValueError(f"{name} is empty")
    page()
    all_pages()


def _languages() -> None:
    """Load every catalogue of printed pages."""
    from lightdose.answers.language import LANGUAGES, language

    for key in LANGUAGES:
        language(key).date("2026-03-14")
