"""Closing a job, and the file of what a shop knows: read, written, edited by hand, merged."""

import json
import subprocess
import sys
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapewright.diagnose.beliefs import posterior
from tapewright.diagnose.closed_jobs import (
    NOT_LOOKED_AT,
    SOUND,
    AnswerGiven,
    ClosedJob,
    Knowledge,
    PartFound,
    Tally,
    is_plain,
)
from tapewright.diagnose.learning import part_kind
from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.network import network
from tapewright.jobs.ask import Conversation
from tapewright.jobs.closing import Finding, close_job, parse_findings
from tapewright.jobs.examine import examine
from tapewright.jobs.faults_list import faults_list
from tapewright.jobs.knowledge import knowledge_in_use, knowledge_text, parse_knowledge, read_knowledge, write_knowledge
from tapewright.jobs.shop import close_into, look_at
from tapewright.machine.library import shipped
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.problem import InputAtFaultError
from tapewright.words.reading import Reading

MACHINE = shipped("one_motor_portable")
NET = network(MACHINE)
SAID = Evidence((Observation("play_tape_still", True), Observation("play_capstan_still", False)))
STANDS = Evidence((Observation("play_capstan_still", True), Observation("play_capstan_squeals", False)))
GONE = (Finding("capstan_belt", "missing"),)
FOUND = (Finding("pinch_roller", "low_force"), Finding("capstan_belt", SOUND))


# --- closing a job ----------------------------------------------------------------------------------------------------


def test_what_was_predicted_is_what_was_believed_at_each_step() -> None:
    """Oracle: the beliefs themselves, put together here by hand from what was known at each step."""
    job = close_job(MACHINE, SAID, FOUND)
    roller, belt = job.parts[0], job.parts[1]
    after = [posterior(NET, of_observations(NET, SAID.signs[:i])) for i in range(3)]
    assert roller.course == pytest.approx([1.0 - float(one.states["pinch_roller"][0, 0]) for one in after])
    assert roller.said == pytest.approx(roller.course[-1])
    # The belt was looked at once the roller's arm had been found weak: that explains the tape.
    assert belt.said is not None
    assert belt.said < belt.course[-1]
    for i, answer in enumerate(job.answers):
        sign = NET.signs[answer.sign]
        words = NET.words[sign.node]
        yes = sum(float(p) * sign.chance(word) for p, word in zip(after[i].words[sign.node][0], words, strict=True))
        assert answer.said == pytest.approx(yes)


def test_what_was_found_settles_whether_a_sign_should_have_shown() -> None:
    """With the belt gone the capstan stands and is silent; clean heads say nothing about it."""
    job = close_job(MACHINE, STANDS, GONE)
    stands, squeals = job.answers
    assert stands.shows == pytest.approx(1.0)
    assert stands.noticed is True
    without = close_job(MACHINE, STANDS, [Finding("heads", SOUND)])
    assert without.answers[0].shows is None
    assert squeals.shows == pytest.approx(0.0)


def test_what_was_not_looked_at_is_kept_as_unknown() -> None:
    job = close_job(MACHINE, SAID, FOUND)
    assert [one.part for one in job.parts[:2]] == ["pinch_roller", "capstan_belt"]
    rest = job.parts[2:]
    assert {one.found for one in rest} == {NOT_LOOKED_AT}
    assert all(one.said is None and one.speaks for one in rest)
    assert {one.part for one in rest} < set(NET.parts)


def test_a_likelihood_ratio_is_what_bayes_says() -> None:
    """Oracle: odds after over odds before, from a posterior of our own with the findings put in as certain."""
    job = close_job(MACHINE, SAID, FOUND)
    parts = dict(NET.parts)
    for finding in FOUND:
        known = parts[finding.part]
        kept = [p if kind == finding.kind else 0.0 for (kind, _), p in zip(known.states, known.prior, strict=True)]
        parts[finding.part] = replace(known, prior=tuple(p / sum(kept) for p in kept))
    believed = posterior(replace(NET, parts=parts), of_observations(NET, SAID.signs))
    (told,) = [one for one in job.parts if one.part == "power_supply"]
    known, now = NET.parts["power_supply"], believed.states["power_supply"][0]
    (dead,) = [i for i, (kind, _) in enumerate(known.states) if kind == "dead"]
    ratio = (now[dead] / now[0]) / (known.prior[dead] / known.prior[0])
    assert told.speaks["dead"] == pytest.approx(float(ratio))


def test_a_cure_says_that_what_was_noticed_is_gone() -> None:
    """With the belt renewed and the capstan turning, what else would have held it still is hardly bad."""
    left, cured = (close_job(MACHINE, STANDS, GONE, cured=some) for some in ((), ("capstan_belt",)))
    speaks = [{one.part: one.speaks for one in job.parts} for job in (left, cured)]
    assert "capstan_motor" not in speaks[0], "the belt explains it all: nothing speaks for or against the motor"
    assert speaks[1]["capstan_motor"]["dead"] < 0.2
    assert len(cured.answers) == len(STANDS.signs)


def test_a_repair_between_answers_is_told_from_before_it() -> None:
    again = Observation("play_tape_still", False, after=("pinch_roller",))
    job = close_job(MACHINE, Evidence((*SAID.signs, again)), FOUND, cured=("pinch_roller",))
    roller = job.parts[0]
    assert roller.said == pytest.approx(close_job(MACHINE, SAID, FOUND).parts[0].said)
    assert roller.course[-1] < 0.1, "the new roller, after the last answer"
    assert job.answers[2].said < 0.5 < job.answers[0].said + 0.5


def test_every_name_is_checked_at_once() -> None:
    said = [
        ("--bad", "capstan_bolt=slack"),
        ("--bad", "capstan_belt=slak"),
        ("--bad", "pinch_roller"),
        ("--sound", "heads"),
        ("--bad", "heads=dirty"),
    ]
    with pytest.raises(InputAtFaultError) as caught:
        parse_findings(MACHINE, said, ["idler_tyre", "head_bse"])
    where = [problem.where for problem in caught.value.problems]
    assert where == [f"{option} {text}" for option, text in said if text != "heads"] + [
        "--cured idler_tyre",
        "--cured head_bse",
    ]
    assert "capstan_belt" in caught.value.problems[0].do
    assert "slack" in caught.value.problems[1].do
    with pytest.raises(InputAtFaultError, match="was not told what was found"):
        parse_findings(MACHINE, [])
    with pytest.raises(InputAtFaultError, match="no sign of this machine"):
        close_job(MACHINE, Evidence((Observation("play_tape_flies", True),)), FOUND)
    with pytest.raises(InputAtFaultError, match="neither evidence nor a name"):
        close_job(MACHINE, Evidence(), FOUND)
    assert close_job(MACHINE, Evidence(), FOUND, name="17").answers == ()


def test_nothing_predicts_itself() -> None:
    job = close_job(MACHINE, SAID, FOUND)
    assert close_job(MACHINE, SAID, FOUND, knowledge=Knowledge((job,))) == job


# --- the file ---------------------------------------------------------------------------------------------------------

texts = st.text(max_size=8)
names = st.text(min_size=1, max_size=8).filter(lambda text: text.strip() != "")
chances = st.sampled_from([0.0, 0.125, 0.5, 1.0, 1e-7])
kinds = st.dictionaries(names, st.sampled_from([0.0, 0.125, 0.25]), max_size=3)
parts = st.builds(
    PartFound, names, names, texts, kinds, st.dictionaries(names, st.sampled_from([0.0, 2.5, 1e9]), max_size=2),
    st.none() | chances, st.lists(chances, max_size=3).map(tuple),
)  # fmt: skip
observations = st.builds(
    Observation, texts, st.sampled_from([True, False, None]), st.sampled_from([0.0, 0.5, 1.0]), texts, texts,
    st.lists(texts, max_size=2).map(tuple),
)  # fmt: skip
names = st.sampled_from(["speed_error_pct", "drift_pct"])
readings = st.dictionaries(names, st.builds(Reading, st.sampled_from([-3.5, 0.25]), st.just("%"), st.none() | chances))


@st.composite
def jobs(draw: st.DrawFn) -> ClosedJob:
    evidence = Evidence(tuple(draw(st.lists(observations, max_size=3))), draw(readings), draw(st.none() | chances))
    answers = [
        AnswerGiven(one.id, draw(texts), bool(one.present), draw(chances), draw(st.none() | chances))
        for one in evidence.signs
        if is_plain(one)
    ]
    leading = draw(texts)
    return ClosedJob(
        draw(names), draw(names), draw(texts), draw(texts), draw(texts), evidence,
        tuple(draw(st.lists(texts, max_size=2))), leading, draw(chances) if leading else 0.0,
        tuple(draw(st.lists(parts, max_size=3))), tuple(answers),
    )  # fmt: skip


counts = st.dictionaries(names, st.integers(0, 50), max_size=3)
places = st.one_of(st.just(("", "")), st.tuples(names, names))
tallies = st.builds(
    lambda name, home, found, sound, place: Tally(name, home, found, sound, *place),
    names, names, counts, st.integers(0, 50), places,
)  # fmt: skip
knowledge = st.builds(
    Knowledge,
    st.lists(jobs(), max_size=3, unique_by=lambda job: job.id).map(tuple),
    st.lists(tallies, max_size=2, unique_by=lambda tally: tally.id).map(tuple),
)


@settings(max_examples=60)
@given(knowledge)
def test_knowledge_comes_back_as_it_went(known: Knowledge) -> None:
    text = knowledge_text(known)
    tomllib.loads(text)  # the standard library's own reader
    assert parse_knowledge(text, "there and back") == known


def test_a_closed_job_comes_back_to_six_figures() -> None:
    job = close_job(MACHINE, SAID, FOUND, cured=("pinch_roller",), name="invented 17")
    once = parse_knowledge(knowledge_text(Knowledge((job,))), "once")
    assert parse_knowledge(knowledge_text(once), "twice") == once
    assert once.jobs[0].parts[0].said == pytest.approx(job.parts[0].said, rel=1e-5)
    assert once.jobs[0].evidence == job.evidence


def test_a_file_written_by_hand_is_enough() -> None:
    text = f"""
    schema = 1
    [[tally]]
    id = "notebook"  # an invented one
    part_kind = "{part_kind(MACHINE, "pinch_roller")}"
    found = {{glazed = 30}}
    sound = 10
    [[job]]
    id = "17"
    layout = "{MACHINE.layout}"
    parts = [{{part = "capstan_belt", part_kind = "{part_kind(MACHINE, "capstan_belt")}", found = "tarry"}}]
    """
    by_hand = parse_knowledge(text, "by hand")
    record = examine(MACHINE, Evidence(), knowledge=by_hand)
    usual = examine(MACHINE, Evidence())
    before = [{b.part: dict(b.kinds) for b in each.beliefs} for each in (usual, record)]
    assert before[1]["pinch_roller"]["glazed"] > before[0]["pinch_roller"]["glazed"] + 0.1
    assert before[1]["capstan_belt"]["tarry"] > before[0]["capstan_belt"]["tarry"]


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("schema = 2", "schema"),
        ("", "schema"),
        ("schema = 1\njob = 3", "job"),
        ("schema = 1\njobs = []", "jobs"),
        ('schema = 1\n[[job]]\nlayout = "x"', "job[0].id"),
        ('schema = 1\n[[job]]\nid = "a"\nlayout = "x"\nparts = [{part = "p"}]', "job[0].parts[0].part_kind"),
        (
            'schema = 1\n[[job]]\nid = "a"\nlayout = "x"\nparts = [{part = "p", part_kind = "q", said = 2}]',
            "job[0].parts[0].said",
        ),
        (
            'schema = 1\n[[job]]\nid="a"\nlayout = "x"\nparts = [{part = "p", part_kind = "q", before = {a=0.7,b=1}}]',
            "job[0].parts[0].before",
        ),
        (
            'schema = 1\n[[job]]\nid = "a"\nlayout = "x"\nanswers = [{id = "s", present = "perhaps"}]',
            "job[0], signs[0].present",
        ),
        ('schema = 1\n[[job]]\nid = "a"\nlayout = "x"\n[[job]]\nid = "a"\nlayout = "x"', "job"),
        ('schema = 1\n[[tally]]\nid = "t"\npart_kind = "q"\nfound = {a = -1}', "tally[0].found.a"),
        ('schema = 1\n[[tally]]\nid = "t"\npart_kind = "q"\npart = "p"', "tally[0]"),
        ("schema = 1\nage = nan", "age"),
    ],
)
def test_mistakes_in_the_file_are_said(text: str, where: str) -> None:
    with pytest.raises(InputAtFaultError) as caught:
        parse_knowledge(text, "k.toml")
    assert [problem.where for problem in caught.value.problems] == [f"k.toml, {where}"]
    assert all(problem.do for problem in caught.value.problems)


@pytest.mark.parametrize("content", [b"[[", b"\xff\xfe\x00", b"[" * 100_000, b'{"signs": 3}'])
def test_what_is_no_such_file_gets_a_sentence(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "k.toml").write_bytes(content)
    for path in (tmp_path / "k.toml", tmp_path / "absent.toml", tmp_path):
        with pytest.raises(InputAtFaultError):
            read_knowledge(path)


# --- the shop ---------------------------------------------------------------------------------------------------------


def test_a_job_is_counted_once_and_can_be_put_right(tmp_path: Path) -> None:
    path = tmp_path / "shop" / "k.toml"
    said = [("--bad", "pinch_roller=low_force"), ("--sound", "capstan_belt")]
    assert close_into(MACHINE, SAID, said, ["pinch_roller"], into=path).how == "new"
    before = path.read_bytes()
    assert close_into(MACHINE, SAID, said, ["pinch_roller"], into=path).how == "known"
    assert path.read_bytes() == before
    right = close_into(MACHINE, SAID, [("--bad", "pinch_roller=stiff")], into=path)
    assert (right.how, right.jobs) == ("put right", 1)
    assert read_knowledge(path).jobs[0].parts[0].found == "stiff"
    assert close_into(MACHINE, SAID, said, name="another just like it", into=path).jobs == 2


def test_files_are_merged_and_handed_on_without_counting_twice(tmp_path: Path) -> None:
    mine, theirs, all_of_it = tmp_path / "mine.toml", tmp_path / "theirs.toml", tmp_path / "all.toml"
    said = [("--bad", "pinch_roller=stiff")]
    close_into(MACHINE, SAID, said, name="1", into=mine)
    close_into(MACHINE, SAID, said, name="1", into=theirs)
    close_into(MACHINE, SAID, said, name="2", into=theirs)
    shop = look_at(mine, [theirs, theirs], all_of_it)
    assert (shop.added, shop.standing.jobs) == (1, 2)
    assert read_knowledge(mine) == read_knowledge(all_of_it)
    assert look_at(mine, [theirs]).added == 0
    assert look_at(tmp_path / "new.toml", [mine]).added == 2


def test_the_catalogue_alone_and_the_shops_own_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TAPEWRIGHT_DATA", str(tmp_path))
    assert knowledge_in_use(None) == (None, None)
    write_knowledge(tmp_path / "knowledge.toml", Knowledge())
    assert knowledge_in_use(None) == (Knowledge(), tmp_path / "knowledge.toml")
    assert knowledge_in_use(Path("none")) == (None, None)
    with pytest.raises(InputAtFaultError):
        knowledge_in_use(tmp_path / "another.toml")


@pytest.mark.slow
def test_learnt_rates_are_used_and_said_everywhere() -> None:
    job = close_job(MACHINE, SAID, [Finding("pinch_roller", "low_force")])
    many = Knowledge(tuple(replace(job, id=f"{i}") for i in range(40)))
    usual, learnt = examine(MACHINE, SAID), Conversation(MACHINE, SAID, knowledge=many).now()
    assert learnt.beliefs != usual.beliefs
    assert any("Learnt rates are in use" in note and "40 closed jobs" in note for note in learnt.notes)
    assert not any("Learnt" in note for note in usual.notes)
    rows = {(row["part"], row["kind"]): row for row in faults_list(MACHINE, many)}
    stuck = rows["pinch_roller", "low_force"]
    assert float(str(stuck["base_rate"])) > 0.5 > float(str(stuck["catalogue_rate"]))
    assert all("catalogue_rate" not in row for row in faults_list(MACHINE))


def run(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "tapewright", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False, encoding="utf-8")


@pytest.mark.slow
def test_on_the_command_line(tmp_path: Path) -> None:
    evidence, path = tmp_path / "e.json", tmp_path / "k.toml"
    evidence.write_text('{"signs": [{"id": "play_tape_still", "present": true}]}', encoding="utf-8")
    close: list[str | Path] = ["close", MACHINE.id, "--evidence", evidence, "--into", path]
    done = run(*close, "--sound", "capstan_belt", "--bad", "pinch_roller=stiff", "--cured", "pinch_roller", "--json")
    assert done.returncode == 0, done.stderr
    shown = json.loads(done.stdout)
    assert [part["part"] for part in shown["job"]["parts"][:2]] == ["capstan_belt", "pinch_roller"]
    assert (shown["how"], shown["jobs"], shown["into"]) == ("new", 1, str(path))
    standing = json.loads(run("knowledge", path, "--json").stdout)
    assert {rate["part"] for rate in standing["rates"]} == {"capstan_belt", "pinch_roller"}
    assert "one job gives no interval" in run("knowledge", path).stdout
    learnt = run("diagnose", MACHINE.id, "--evidence", evidence, "--knowledge", path, "--json")
    assert any("Learnt rates are in use" in note for note in json.loads(learnt.stdout)["notes"])
    assert "Learnt rates in use" in learnt.stderr
    wrong = run(*close, "--bad", "pinch_roller=gone")
    assert wrong.returncode == 2
    assert "pinch_roller can be" in wrong.stderr
    assert run("knowledge", tmp_path / "absent.toml").returncode == 2
