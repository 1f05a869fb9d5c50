"""What anyone said of a fact, side by side."""

from __future__ import annotations

from typing import Any

import pytest

from archive.catalogue.database import Catalogue
from archive.errors import InputError, NotFoundError
from archive.services.claims import ClaimSummary, Saying, add_claim, list_claims
from tests.acts import act
from tests.services.keeping import add, enter, show, undo


def say(catalogue: Catalogue, field: str, value: str, *, stands: bool = False, **more: Any) -> ClaimSummary:
    with catalogue.write(act(f"claim {field}")) as session:
        return add_claim(session, "work", "QA-0042", Saying(field, value, **more), stands=stands)


def said(catalogue: Catalogue, noun: str = "work", ref: str = "QA-0042") -> list[ClaimSummary]:
    with catalogue.read() as session:
        return list_claims(session, noun, ref)


def test_scenario_16_what_a_colleague_says_stands_beside_what_was_observed(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0042", title="Nine Tides")
    told = {"by": "Wren Tallow", "said_on": "2024-05-31", "words": "it was Dockrope first"}
    say(catalogue, "order", "Dockrope first", **told)
    say(catalogue, "order", "Ferrywake first", basis="observed", said_on="2024-06-02", words="seen under the loupe")
    first, second = said(catalogue)
    assert (first.value, first.basis, first.by, first.said_on) == (
        "Dockrope first",
        "stated",
        "Wren Tallow",
        "2024-05-31",
    )
    assert first.words == "it was Dockrope first"
    assert (second.value, second.basis, second.by) == ("Ferrywake first", "observed", None)
    assert first.contradicted
    assert second.contradicted
    assert [each.is_standing for each in (first, second)] == [True, False]


def test_one_may_be_made_to_stand_and_the_others_are_kept(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0042")
    say(catalogue, "order", "Dockrope first")
    say(catalogue, "order", "Ferrywake first", basis="observed", stands=True)
    assert [(each.value, each.is_standing) for each in said(catalogue)] == [
        ("Ferrywake first", True),
        ("Dockrope first", False),
    ]
    undo(catalogue)
    assert [(each.value, each.is_standing) for each in said(catalogue)] == [("Dockrope first", True)]


def test_the_same_said_twice_is_no_contradiction(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0042")
    say(catalogue, "order", "Dockrope first", by="Wren Tallow")
    assert not say(catalogue, "order", "dockrope  first", by="Ada Quill").contradicted


def test_the_first_to_say_something_of_an_empty_field_fills_it(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0042")
    assert say(catalogue, "title", "Nine Tides", by="Wren Tallow").is_standing
    assert show(catalogue, "work", "QA-0042")["title"] == "Nine Tides"


def test_the_field_holds_the_claim_that_stands(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0042", date="1998")
    assert not say(catalogue, "date", "about 2001").is_standing
    assert show(catalogue, "work", "QA-0042")["date"] == "1998"
    assert say(catalogue, "date", "1998").is_standing
    assert say(catalogue, "date", "about 2001", stands=True).is_standing
    assert show(catalogue, "work", "QA-0042")["date"] == "about 2001"
    assert [each.is_standing for each in said(catalogue)].count(True) == 1
    undo(catalogue)
    assert show(catalogue, "work", "QA-0042")["date"] == "1998"


def test_that_nothing_is_known_can_be_said(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0042", title="Nine Tides")
    claim = say(catalogue, "title", "", basis="unknown", words="asked everybody")
    assert (claim.value, claim.basis) == ("", "unknown")
    assert show(catalogue, "work", "QA-0042")["title"] == "Nine Tides"


def test_who_says_it_is_one_person_however_typed(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0042")
    add(catalogue, "person", "Wren Tallow")
    assert say(catalogue, "order", "Dockrope first", by=" wren  TALLOW ").by == "Wren Tallow"
    assert say(catalogue, "paper", "Oatleaf", by="Ada  Quill").by == "Ada Quill"
    assert show(catalogue, "person", "Ada Quill") is not None


@pytest.mark.parametrize(
    ("field", "value", "more", "words"),
    [
        ("order", "Dockrope first", {"basis": "rumour"}, "rumour is no basis.*stated, observed, inferred, unknown"),
        ("", "Dockrope first", {}, "names a fact and its value"),
        ("order", " ", {}, "names a fact and its value"),
        ("order", "Dockrope first", {"said_on": "last week"}, "last week is no day"),
        ("kind", "hat", {"stands": True}, "hat is none of the words"),
    ],
)
def test_what_is_no_claim_is_refused_and_nothing_is_kept(
    catalogue: Catalogue, field: str, value: str, more: dict[str, Any], words: str
) -> None:
    enter(catalogue, "QA-0042")
    with pytest.raises(InputError, match=rf"(?s){words}"):
        say(catalogue, field, value, **more)
    assert said(catalogue) == []


def test_a_claim_on_nothing_is_told(catalogue: Catalogue) -> None:
    with pytest.raises(NotFoundError, match="no work called QA-0042"):
        say(catalogue, "order", "Dockrope first")


def test_inks_told_anew_stand_and_the_older_telling_is_kept(catalogue: Catalogue) -> None:
    from archive.services.lookup import find_record
    from archive.services.told import read_told
    from archive.services.work_cards import variant_facts
    from archive.services.works import tell_variant

    for name in ("Ferrywake", "Dockrope"):
        add(catalogue, "ink", name)
    enter(catalogue, "QA-0042", inks="Ferrywake over Dockrope?", said_by="Wren Tallow")
    with catalogue.write(act("tell again")) as session:
        variant = find_record(session, "variant", "QA-0042")
        tell_variant(session, variant, read_told("Dockrope over Ferrywake"), None, said_by="Ada Quill")
        facts = variant_facts(session, variant)
    assert facts["inks"] == "Ferrywake (tint unknown), then Dockrope (tint unknown)"
    order = [each for each in said(catalogue, "variant", "QA-0042a") if each.field == "order"]
    assert [(each.value, each.by, each.basis, each.is_standing) for each in order] == [
        ("Ferrywake first", "Ada Quill", "stated", True),
        ("Dockrope first", "Wren Tallow", "inferred", False),
    ]
