"""The promise of the command line, written down: every command once, the keys of its JSON, a piece of its text.

A dict is an object with exactly these keys; a list of one is an array of such objects with at least one in it;
`...` is any value. Keys may be added here, never taken away or renamed.
"""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from typing import Any


def keys(names: str, **inside: Any) -> dict[str, Any]:
    """Return an object's form from the names of its keys."""
    return {**dict.fromkeys(names.split(), ...), **inside}


INK = keys("id uid name kind in_house looks lightest_tint closing_tint note")
MACHINE = keys("id uid name drums in_house dpi note")
DRUM = keys("id uid number ink state machine position fits note")
FILLING = keys("id uid name ink drum since until batch person note", mix=[keys("name parts")])
PAPER = keys("id uid name shade gsm lot grain coloured opacity sheets_left note")
PERSON = keys("id uid name note")
PLACE = keys("id uid ref name kind in state note")
BOX = keys("place state copies without_picture counted")
WORK = keys("id uid ref title title_kind kind date date_basis old_number maker note")
VARIANT = keys("id uid ref work name kind note")
COPY = keys("id uid ref role edition place whereabouts person until seen_on seen_by note")
APPEARANCE = keys("id uid copy variant role page region")
FILE = keys("id uid variant name lies_at checksum ink")
RUN = keys("id uid ref variant printed_on machine density speed screen good spoiled waited_hours filling person note")
PICTURE = keys("id uid name copy appearance note")
TOLD_VARIANT = keys("uid ref name kind inks paper words")
CARD = {
    **WORK,
    "maker": [keys("name role")],
    "variants": [TOLD_VARIANT],
    "copies": [COPY],
    "pictures": [keys("uid name")],
    "runs": [RUN],
    "notes": ...,
}
NEW_CARD = {**CARD, "maker": ..., "copies": ..., "pictures": ..., "runs": ...}
CARD_OF_A_BOX = {**CARD, "maker": ..., "runs": ...}
RUN_CARD = {**RUN, **keys("work taken_from_last notes")}
GONE = [keys("noun uid label binned_at")]
SWATCH = keys("id uid name sample paper inks lab method condition measured_on readings")
CLAIM = keys("id uid field value basis by said_on words is_standing contradicted")
INQUIRY = keys("id uid noun record field words person asked_on state answer")
SETTING = keys("key value start meaning")
FOUND = keys(
    "id uid ref title kind date inks papers places claims patches printable_now passes why_not_now colour notes",
    makers=[keys("name role")],
    printed_by=...,
    files=[keys("name lies_at")],
    copies=[keys("ref role edition place whereabouts")],
)
FOUND_BY_COLOUR = {**FOUND, "colour": keys("delta_e_2000 verdict evidence recipe")}
QUESTION = keys("id uid name asks")
STALE = keys(
    "id uid noun name reason why mend",
    swatches=[keys("id uid paper inks printed_on measured_on")],
)
BULK = keys("set same dry_run", works=[keys("id uid ref title was")])
MERGED = keys("noun id uid name gone moved")
LIST = keys("file sheet columns samples rows added filled known conflicts notices dry_run")
EXCHANGE = keys("file workshop inks papers recipes swatches measurements known left_out notices dry_run")
PREDICTION = keys("tints lab uncertainty reprint evidence")
INK_SET = keys("inks paper recipes swatches works")
READING = keys("lab spread uncertainty usable flags swatch claim learnt_from")
PROPOSAL = keys("uid picture file work at radius_px lab in_words spread share proposed state swatch")
JOINED = keys("uid work copy residual_mm why", parts=[keys("picture to_first")])
DECIDED = keys("picture decided work copy gone")
SITTING = keys(
    "id uid ref opened_at closed_at place edition verdict why claim not_measured frames notes",
    card=keys("found by_hand turn corners_px residual claim left_out mm_per_px size_px"),
    criteria=[keys("name measured unit formula limits source")],
)
FRAME = keys(
    "file status why picture place corners_px sure mm_per_px kind work run group like",
    card=keys("found by_hand turn corners_px residual claim"),
    warnings=[keys("code what mend")],
)
STRIP = keys("id uid ref design inks paper machine screen made_on printed_on patches measured read shift files notes")
CHANGE = keys("id uid at by words kind added edits undone")
OUTCOME = keys("file status picture copy paper notes", palette=[keys("lab share")])
IMPORT = keys("file sets rows added known bare_paper new_recipes papers inks notices dry_run")
COPIED = keys("to copied kept verified bytes")
PACKED = keys("bag rows originals bytes")
MATCH = keys(
    "rank evidence aged delta_e_2000 uncertainty reprint verdict why_here lab in_words paper passes drum_changes "
    "settings printable_now loaded why_not_now where_now work copy picture place swatch measured_on also notes",
    layers=[keys("ink tint pass")],
)
MATCH_OF_WORK = {
    **MATCH,
    "layers": ...,
    "settings": keys("machine density speed screen fillings"),
    "work": keys("ref title"),
}
WANTED = keys("lab given relative_to_paper paper")
ANSWER = {"wanted": WANTED, "out_of_reach": None, "left_out": [keys("what why")], "matches": [MATCH], "notes": ...}
PICTURE_ANSWER = {
    "palette": [keys("lab share")],
    "paper": ...,
    "paper_share": ...,
    "read_on": ...,
    "prints": [keys("work title picture distance")],
    "same_design": ...,
    "ink_sets": [keys("inks paper evidence mean worst passes machine printable_now loaded why_not_now")],
}


@dataclass(frozen=True)
class Case:
    """A command as it is typed, the form of its JSON, and what its text says.

    `{desk}` is the folder with the files, `{swatch}`, `{appearance}`, `{file}` are the uids of the first of each.
    """

    typed: str
    form: Any
    says: str

    @property
    def words(self) -> list[str]:
        """Return the parts of the command; a part with spaces stands in quotes."""
        return shlex.split(self.typed)


CASES = [
    Case("start {desk}/new", keys("archive"), "An empty archive lies in"),
    Case("match colour lab:52.3,-18.4,12.2", ANSWER, "Dockrope 100 %, then Ferrywake 60 %, on Oatleaf 120"),
    Case("match picture {desk}/tides.jpg", PICTURE_ANSWER, "Ink sets that carry it"),
    Case("find tides", [FOUND], "QA-0042  Nine Tides"),
    Case(
        "find --colour '#2a5ea8' --paper off-white", [FOUND_BY_COLOUR], "Dockrope (tint unknown), then Ferrywake 60 %"
    ),
    Case("find --works QA-0042 --keep tides", [FOUND], "go by QA-0042/1: reference"),
    Case("question list", [QUESTION], "blue ones: ink Ferrywake"),
    Case("question remove 'blue ones'", QUESTION, "In the bin: question blue ones."),
    Case("change tides --set paper='Chalkroad 90' --dry-run", BULK, "Would change 1 work to paper Chalkroad 90."),
    Case(
        "pair predict --inks Dockrope,Ferrywake --paper 'Oatleaf 120' --tints 100,60",
        [PREDICTION],
        "100 % + 60 %: Lab 52.",
    ),
    Case(
        "pair show --inks Dockrope,Ferrywake --paper 'Oatleaf 120'",
        keys("inks paper screen patches n works missing", grid=[PREDICTION]),
        "Dockrope, then Ferrywake, on Oatleaf 120: 4 patches measured",
    ),
    Case("recipe list", [INK_SET], "Dockrope then Ferrywake"),
    Case("work add --title Peel --inks 'blue? over Dockrope'", NEW_CARD, "Added work QA-0044, Peel."),
    Case("work list", [WORK], "Nine Tides"),
    Case("work show QA-0042", CARD, 'as told: "Ferrywake 60 % over Dockrope"'),
    Case("work edit QA-0042 --date 'May 1999'", WORK, "date: May 1999"),
    Case("work remove QA-0042", GONE, "In the bin: work QA-0042, with 1 variant"),
    Case("work import {desk}/list.csv --dry-run", LIST, "list.csv: 1 row, 1 would be added."),
    Case("work sheet {desk}/sheet.xlsx", keys("file works"), "4 works that lack facts"),
    Case("variant add --work QA-0042 --name green", VARIANT, "Added variant QA-0042b."),
    Case("variant list", [VARIANT], "QA-0042a"),
    Case("variant show QA-0042a", VARIANT, "work: QA-0042"),
    Case("variant edit QA-0042a --name blue", VARIANT, "name: blue"),
    Case("variant remove QA-0042a", GONE, "In the bin: variant QA-0042a"),
    Case("variant tell QA-0042 'Kilnsong over Dockrope'", TOLD_VARIANT, "variant QA-0042a: Dockrope"),
    Case("copy add --of QA-0042 --place 'drawer 5'", COPY, "Added copy QA-0042/2."),
    Case("copy list", [COPY], "QA-0042/1"),
    Case("copy show QA-0042/1", COPY, "place: Storeroom / Plan chest 2 / drawer 5"),
    Case("copy edit QA-0042/1 --whereabouts lent --until 2025-03-31", COPY, "whereabouts: lent"),
    Case("copy remove QA-0042/1", GONE, "In the bin: copy QA-0042/1"),
    Case("appearance add --copy QA-0042/1 --variant QA-0042a --role back", APPEARANCE, "Added appearance"),
    Case("appearance list", [APPEARANCE], "QA-0042/1"),
    Case("appearance show {appearance}", APPEARANCE, "role: front"),
    Case("appearance edit {appearance} --region 0,0,50,100", APPEARANCE, "region: 0, 0, 0.5, 1"),
    Case("appearance remove {appearance}", GONE, "In the bin: appearance"),
    Case("picture add {desk}/loose.jpg --work QA-0042", [OUTCOME], "loose.jpg of QA-0042/1"),
    Case(
        "picture add {desk} --dry-run",
        keys("pictures known doubled unreadable works several loose new_works passed_over"),
        "would be added",
    ),
    Case("picture list", [PICTURE], "tides.jpg"),
    Case("picture show tides.jpg", PICTURE, "copy: QA-0042/1"),
    Case("picture edit tides.jpg --note 'taken by window light'", PICTURE, "note: taken by window light"),
    Case("picture remove tides.jpg", GONE, "In the bin: picture tides.jpg"),
    Case("picture join peel.jpg peel_again.jpg", JOINED, "2 parts of M19/1 joined; they meet within 0."),
    Case(
        "picture joined M19 --to {desk}/joined.png",
        keys("file work parts residual_mm width_px height_px ppi"),
        "joined.png: 2 parts that meet within 0.",
    ),
    Case(
        "picture square lamp.jpg --to {desk}/square.tif --ppi 40",
        keys("file picture width_mm height_mm width_px height_px ppi claim"),
        "square.tif: 2",
    ),
    Case("picture loose", [keys("uid name")], "loose.jpg"),
    Case("run add QA-0042 --good 40", RUN_CARD, "Wrote run"),
    Case("run list", [RUN], "QA-0042a"),
    Case("run show QA-0042/r1", RUN, "machine: Upstairs"),
    Case("run edit QA-0042/r1 --spoiled 9", RUN, "spoiled: 9"),
    Case(
        "run slip --count 2 --to {desk}/slips.pdf",
        keys("file slips inks papers machines people boxes pages notices"),
        "Wrote 2 job slips to ",
    ),
    Case("run remove QA-0042/r1", GONE, "In the bin: run QA-0042/r1"),
    Case("file add --variant QA-0042a --name tides_dull.tif", FILE, "Added file"),
    Case("file list", [FILE], "tides_blue.tif"),
    Case("file show {file}", FILE, "lies at: grey disk"),
    Case("file edit {file} --ink Ferrywake", FILE, "ink: Ferrywake"),
    Case("file remove {file}", GONE, "In the bin: file"),
    Case(
        "swatch read tides.jpg --at 120,96 --radius-px 8",
        READING,
        "no colour card: seen, not measured",
    ),
    Case(
        "swatch propose lamp.jpg", keys("pictures new left_out", open=[PROPOSAL]), "Looked at 1 picture: 0 new areas."
    ),
    Case("swatch proposals lamp.jpg", [PROPOSAL], "bare paper, "),
    Case("swatch accept {proposal} --inks 'Ferrywake 60 %' --paper 'Oatleaf 120'", READING, "kept as swatch "),
    Case("swatch decline {proposal}", PROPOSAL, "Declined: "),
    Case("swatch next tides.jpg", keys("accepted declined left_open"), "0 accepted, 0 declined, 0 left open"),
    Case("swatch list --ink Ferrywake", [SWATCH], "Ferrywake 100 %"),
    Case(
        "swatch cards --ink Ferrywake --to {desk}/cards.pdf", keys("file swatches pages notices"), "cards on 1 page to "
    ),
    Case("swatch show {swatch}", SWATCH, "swatch {swatch}"),
    Case("swatch name {swatch} 'tide green'", SWATCH, 'called "tide green"'),
    Case("swatch measure {swatch} --lab 48.5,41.9,37.4 --condition M1", SWATCH, "2 readings"),
    Case("swatch remove {swatch}", keys("removed"), "In the bin: the swatch, with 1 reading."),
    Case(
        "strip make --inks Kilnsong --design lightest --as tiff --machine Upstairs --to {desk}",
        [{**STRIP, "files": [keys("ink pass file")]}],
        "strip S-2: lightest, Kilnsong on Oatleaf 120, 10 patches",
    ),
    Case(
        "strip read {desk}/eleven.csv --strip S-1 --settled",
        [
            {
                **keys(
                    "file strip ref kind inks hours_after claim drums added rejected lost closed shift notes dry_run"
                ),
                "patches": [keys("number tints lab spread usable why state swatch")],
            }
        ],
        "eleven.csv: strip S-1, 11 of 11 patches kept",
    ),
    Case("strip list", [STRIP], "strip S-1: eleven, Dockrope then Ferrywake on Oatleaf 120, not read yet"),
    Case(
        "strip show S-1",
        {
            **keys("id uid ref design inks paper machine screen made_on printed_on measured read shift readings"),
            "patches": [keys("number tints lab swatch measured_on")],
        },
        "strip S-1: eleven",
    ),
    Case(
        "strip next --with Ferrywake,Kilnsong",
        [keys("inks design asked works printable_now why command")],
        "Ferrywake then Kilnsong, eleven: asked for 1 time",
    ),
    Case("readings import {desk}/strip.csv", IMPORT, "6 rows, 0 added, 6 known already"),
    Case("readings export {desk}/out.csv", keys("file rows format"), "Wrote 6 rows"),
    Case("evidence out {desk}/ours.json --ink Ferrywake", EXCHANGE, "Wrote 1 ink, 1 paper, 2 recipes, 2 patches"),
    Case("evidence in {desk}/theirs.json --dry-run", EXCHANGE, "of Lark Lane Press; 5 known already."),
    Case(
        "evidence same ink 'Marshlight (Lark Lane Press)' Ferrywake",
        keys("kind theirs origin ours swatches notes"),
        "1 patch of Lark Lane Press count with ours.",
    ),
    Case("ink add Sootwell", INK, "Added ink Sootwell."),
    Case("ink list", [INK], "Ferrywake"),
    Case("ink show Ferrywake", INK, "looks: #2a5ea8"),
    Case("ink edit Ferrywake --no-in-house", INK, "in house: no"),
    Case("ink remove Kilnsong", GONE, "In the bin: ink Kilnsong. `inkchest undo` brings all of it back."),
    Case("ink merge Kilnsong --into Ferrywake", MERGED, "Kilnsong is Ferrywake now; moved: nothing."),
    Case("drum add 9", DRUM, "Added drum 9."),
    Case("drum list", [DRUM], "Ferrywake"),
    Case("drum show 1", DRUM, "machine: Upstairs"),
    Case("drum edit 1 --state away", DRUM, "state: away"),
    Case("drum remove 2", GONE, "In the bin: drum 2"),
    Case("filling add --ink Dockrope", {**FILLING, "mix": ...}, "Added filling"),
    Case("filling list", [FILLING], "Ferrywake (3)"),
    Case("filling show F-1", FILLING, "mix: Ferrywake (3)"),
    Case("filling edit F-1 --batch FE-2405", FILLING, "batch: FE-2405"),
    Case("filling remove F-2", GONE, "In the bin: filling F-2"),
    Case("machine add Landing", MACHINE, "Added machine Landing."),
    Case("machine list", [MACHINE], "Upstairs"),
    Case("machine show Upstairs", MACHINE, "drums: 2"),
    Case("machine edit Upstairs --dpi 600", MACHINE, "dpi: 600"),
    Case("machine remove Backroom", GONE, "In the bin: machine Backroom"),
    Case("paper add 'Ryebank 100'", PAPER, "Added paper Ryebank 100."),
    Case("paper list", [PAPER], "Oatleaf 120"),
    Case("paper show 'Oatleaf 120'", PAPER, "sheets left: 800"),
    Case("paper edit 'oatleaf 120' --sheets-left 650", PAPER, "sheets left: 650"),
    Case("paper remove 'Duskmoth 140'", GONE, "In the bin: paper Duskmoth 140"),
    Case("paper merge 'Chalkroad 90' --into 'Oatleaf 120'", MERGED, "Chalkroad 90 is Oatleaf 120 now; moved: 1 recipe"),
    Case("place add 'Storeroom / Shelf A'", PLACE, "Added place Storeroom / Shelf A."),
    Case("place list", [PLACE], "Storeroom / Plan chest 2 / drawer 5"),
    Case("place show 'drawer 5'", PLACE, "in: Storeroom / Plan chest 2"),
    Case("place edit 'drawer 5' --state checked", PLACE, "state: checked"),
    Case(
        "place move 'drawer 5' --to Attic",
        {**PLACE, **keys("places copies")},
        "it is Attic / drawer 5 now, with 1 copy",
    ),
    Case("place check 'drawer 5' --count 1", BOX, "drawer 5: checked, 1 copy"),
    Case("place close 'drawer 5' --count 1", BOX, "drawer 5: closed, 1 copy"),
    Case("place quarantine 'drawer 5' --why 'mould suspected'", keys("place why copies card"), "FFP3"),
    Case("place release Cellar", keys("ref"), "Released: Cellar"),
    Case("place queue", [keys("place state copies")], "Attic (open): 1 copy without a picture: M17/1"),
    Case("place labels --to {desk}/labels.pdf", keys("file places pages notices"), "labels on 1 page to "),
    Case(
        "place cards 'drawer 5' --to {desk}/cards.pdf", keys("file places pages notices"), "Wrote 1 card on 1 page to "
    ),
    Case("place remove Cellar", GONE, "In the bin: place Cellar"),
    Case("person add 'Tamsin Grebe'", PERSON, "Added person Tamsin Grebe."),
    Case("person list", [PERSON], "Wren Tallow"),
    Case("person show 'Wren Tallow'", PERSON, "person Wren Tallow"),
    Case("person edit 'Wren Tallow' --note 'printed here from 2004'", PERSON, "note: printed here from 2004"),
    Case("person remove 'Pip Saltmarsh'", GONE, "In the bin: person Pip Saltmarsh"),
    Case("person merge 'Pip Saltmarsh' --into 'Wren Tallow'", MERGED, "Pip Saltmarsh is Wren Tallow now"),
    Case("person forget 'Wren Tallow' --yes", keys("mentions"), "Forgotten: "),
    Case(
        "claim add work QA-0042 --field order --value 'Dockrope first' --said-by 'Wren Tallow' --said-on 2024-05-04",
        CLAIM,
        "* order: Dockrope first, stated by Wren Tallow on 2024-05-04",
    ),
    Case("claim list variant QA-0042a", [CLAIM], 'in the words "Ferrywake 60 % over Dockrope"'),
    Case("sitting take {desk}/choir.jpg", keys("sitting joined", frames=[FRAME]), "taken   choir.jpg: work "),
    Case("sitting close", SITTING, "closed, good for recipes, 3 taken"),
    Case("sitting list", [SITTING], "open, good for recipes, 3 taken"),
    Case(
        "sitting alike list",
        [keys("picture file work", like=[keys("picture file work as state")])],
        "same copy of lamp.jpg, work QA-0043",
    ),
    Case("sitting alike accept peel.jpg", DECIDED, "Same copy: copy QA-0043/1 of work QA-0043 now; work M19 is in"),
    Case("sitting alike decline peel.jpg", DECIDED, "Declined: it stays work M19."),
    Case("sitting show {sitting}", SITTING, "colour, mean: "),
    Case(
        "sitting open --archive {desk}/other --white {desk}/white.jpg --card {desk}/card.jpg --card-mm 140x107",
        SITTING,
        "open, good for recipes, no frames",
    ),
    Case(
        "describe list",
        [keys("ref uid title place lacks pictures")],
        "M18, in Attic: lacks title, date, inks, paper  (box.jpg)",
    ),
    Case("describe work M18 --title 'Bus Stop Choir' --unknown date", CARD_OF_A_BOX, "Described M18"),
    Case("describe next --place Cellar", keys("described"), "0 works described; nothing is left here."),
    Case(
        "describe pace",
        keys("captured captured_an_hour described described_an_hour left hours_left"),
        "left to describe: 3",
    ),
    Case(
        "inquiry add QA-0042 date 'Before the move?' --ask 'Wren Tallow'", INQUIRY, "Wren Tallow: work QA-0042, date?"
    ),
    Case("inquiry list", [INQUIRY], "Wren Tallow: work QA-0042, paper?"),
    Case("inquiry answer {inquiry} 'the grey one'", INQUIRY, "answered: the grey one"),
    Case("inquiry nobody-left {inquiry}", INQUIRY, "(nobody left)"),
    Case("profile list", [SETTING], "house_paper"),
    Case("profile set house_paper 'Oatleaf 120'", SETTING, "house_paper is now Oatleaf 120 (at first: empty)."),
    Case("history", [CHANGE], "import readings from strip.csv"),
    Case("undo", keys("change touched"), "Undone: change "),
    Case("bin list", GONE, "drum 8"),
    Case("bin empty --yes", keys("rows files"), "Deleted "),
    Case("check", ..., "All is whole."),
    Case("check --stale", [STALE], "new filling: ink Dockrope: 4 patches"),
    Case("backup {desk}/stick", COPIED, "Every one of 8 was read back and is whole."),
    Case("restore {desk}/kept {desk}/again", COPIED, "Restored to "),
    Case("pack {desk}/bag", PACKED, "Packed into "),
    Case("unpack {desk}/packed --to {desk}/unpacked", PACKED, "Unpacked into "),
]
