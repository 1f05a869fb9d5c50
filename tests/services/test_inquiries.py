"""What people who are still reachable are asked, and what becomes of their answers."""

from __future__ import annotations

import pytest

from archive.catalogue.database import Catalogue
from archive.errors import ConflictError, InputError, NotFoundError
from archive.services.claims import list_claims
from archive.services.inquiries import InquirySummary, add_inquiry, answer_inquiry, list_inquiries, nobody_left
from tests.acts import act
from tests.services.keeping import enter, show, undo


def ask(catalogue: Catalogue, ref: str, field: str, words: str = "", person: str | None = None) -> InquirySummary:
    with catalogue.write(act(f"ask {field}")) as session:
        return add_inquiry(session, "work", ref, field, words, person)


def answer(catalogue: Catalogue, inquiry: InquirySummary, value: str, **more: str) -> InquirySummary:
    with catalogue.write(act("answer")) as session:
        return answer_inquiry(session, inquiry.uid, value, **more)


def test_an_answer_becomes_a_claim_by_the_person_and_fills_an_empty_fact(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0042")
    asked = ask(catalogue, "QA-0042", "date", "Before the move?", "Wren Tallow")
    found = answer(catalogue, asked, "1998", words="the summer of the flood", said_on="2025-03-01")
    assert (found.state, found.answer) == ("answered", "1998")
    assert show(catalogue, "work", "QA-0042")["date"] == "1998"
    with catalogue.read() as session:
        (claim,) = list_claims(session, "work", "QA-0042")
        assert list_inquiries(session) == []
        assert [each.uid for each in list_inquiries(session, state=None)] == [asked.uid]
    assert (claim.by, claim.basis, claim.words) == ("Wren Tallow", "stated", "the summer of the flood")


def test_an_answer_does_not_overwrite_what_is_known(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0042", date="2001")
    answer(catalogue, ask(catalogue, "QA-0042", "date", person="Wren Tallow"), "1998")
    assert show(catalogue, "work", "QA-0042")["date"] == "2001"
    with catalogue.read() as session:
        assert [(each.value, each.by) for each in list_claims(session, "work", "QA-0042")] == [("1998", "Wren Tallow")]


def test_nobody_left_to_ask_is_an_answer_and_is_not_asked_again(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0042")
    asked = ask(catalogue, "QA-0042", "inks")
    with catalogue.write(act("nobody left")) as session:
        assert nobody_left(session, asked.uid).state == "nobody left"
    with catalogue.read() as session:
        (claim,) = list_claims(session, "work", "QA-0042")
        assert list_inquiries(session) == []
    assert (claim.field, claim.basis, claim.words) == ("inks", "unknown", "nobody left")
    with pytest.raises(ConflictError, match="settled already"):
        answer(catalogue, asked, "Ferrywake")


def test_what_is_to_be_asked_is_listed_by_person(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0001")
    enter(catalogue, "QA-0002")
    ask(catalogue, "QA-0002", "date", person="Wren Tallow")
    ask(catalogue, "QA-0001", "inks", person="Ada Quill")
    ask(catalogue, "QA-0001", "date", person="Wren Tallow")
    with catalogue.read() as session:
        found = [(each.person, each.record) for each in list_inquiries(session)]
        mine = [each.record for each in list_inquiries(session, person="Wren Tallow")]
    assert found == [("Ada Quill", "QA-0001"), ("Wren Tallow", "QA-0001"), ("Wren Tallow", "QA-0002")]
    assert mine == ["QA-0001", "QA-0002"]


def test_asking_the_same_twice_is_refused_and_an_undone_answer_is_open_again(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0042")
    asked = ask(catalogue, "QA-0042", "date", person="Wren Tallow")
    with pytest.raises(ConflictError, match="asked already"):
        ask(catalogue, "QA-0042", "date", person="Wren Tallow")
    answer(catalogue, asked, "1998")
    undo(catalogue)
    with catalogue.read() as session:
        assert [each.uid for each in list_inquiries(session)] == [asked.uid]
    assert show(catalogue, "work", "QA-0042")["date"] == ""


def test_an_inquiry_needs_a_fact_and_an_answer_needs_an_inquiry(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0042")
    with pytest.raises(InputError, match="which fact"):
        ask(catalogue, "QA-0042", " ")
    with pytest.raises(NotFoundError, match="no inquiry"), catalogue.write(act()) as session:
        answer_inquiry(session, "nothing", "1998")
