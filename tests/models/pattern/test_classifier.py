"""The classifier's file, its calls, and how calls of several leaves are combined."""

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from models.pattern import (
    CLASSES,
    CLASSIFIER_FILE,
    MEASURES,
    PATTERNS,
    PatternCall,
    UnfitClassifier,
    combine,
    in_words,
    load_classifier,
)
from models.pattern.classifier import other_chances
from models.pattern.training import LabelledLeaves, labelled_csv, read_labelled, train
from vision.day.measure import MEASURING_VERSION

ROOT = Path(__file__).resolve().parents[3]
FEATURES = ROOT / "models" / "pattern" / "features.csv"
ARRAYS = ("typical", "mean", "scale", "weights", "offsets", "late_weights", "precision")


def made_up_leaves(sessions=2, each=20, seed=0) -> LabelledLeaves:
    """Leaves whose pattern moves a few measures, with a shift of its own for every session."""
    rng = np.random.default_rng(seed)
    labels, rows = [], []
    for number, (pattern, kind) in enumerate(
        (("spot", ""), ("blight", "early"), ("blight", "late"), ("none", ""), ("other", ""))
    ):
        for session in range(sessions):
            shift = rng.normal(0, 0.3, len(MEASURES))
            for leaf in range(each):
                row = rng.normal(0, 1, len(MEASURES)) + shift
                row[3 * number : 3 * number + 3] += 4
                rows.append(row)
                labels.append((f"{number}-{session}-{leaf}", f"{number}-{session}", pattern, kind))
    columns = np.array(labels, np.str_).T
    measured = np.array(rows)
    measured[::7, 20] = np.nan
    return LabelledLeaves(*columns, measured)


@pytest.fixture(scope="module")
def leaves():
    return made_up_leaves()


@pytest.fixture(scope="module")
def classifier(leaves):
    return train(leaves)


@pytest.fixture
def stored(classifier, tmp_path):
    """Write the classifier's file, with some values changed, and return its path."""

    def write(**changed) -> Path:
        values = {**json.loads(classifier.to_json()), **changed}
        path = tmp_path / "own.json"
        path.write_text(json.dumps(values), encoding="utf-8")
        return path

    return write


def test_a_classifier_comes_back_from_its_file_and_calls_the_same(classifier, stored, leaves):
    back = load_classifier(stored())
    assert back.measures == classifier.measures
    for name in ARRAYS:
        assert getattr(back, name) == pytest.approx(getattr(classifier, name), abs=1e-6)
    for row in leaves.measured[::9].astype(np.float32):
        one, two = classifier.call(row), back.call(row)
        assert (one.pattern, one.blight_kind, one.reason) == (
            two.pattern, two.blight_kind, two.reason,
        )  # fmt: skip
        assert two.p_spot == pytest.approx(one.p_spot, abs=1e-4)


def test_the_summary_is_kept_in_the_file(classifier, tmp_path):
    path = tmp_path / "own.json"
    path.write_text(replace(classifier, summary={"leaves": 3}).to_json(), encoding="utf-8")
    assert load_classifier(path).summary == {"leaves": 3}


def test_training_is_the_same_each_time(leaves, classifier):
    assert train(leaves).to_json() == classifier.to_json()


def test_leaves_it_learned_from_are_called_by_their_pattern(leaves, classifier):
    calls = [classifier.call(row.astype(np.float32)) for row in leaves.measured]
    for pattern in ("spot", "blight", "none"):
        own = [c.pattern for c, p in zip(calls, leaves.pattern, strict=True) if p == pattern]
        assert own.count(pattern) / len(own) > 0.8
    kinds = [
        (call.blight_kind, kind)
        for call, kind in zip(calls, leaves.blight_kind, strict=True)
        if call.blight_kind in ("early", "late") and kind
    ]
    assert len(kinds) > 5
    assert sum(called == kind for called, kind in kinds) / len(kinds) > 0.9


def test_a_kind_of_blight_is_named_only_where_blight_is_called(leaves, classifier):
    for row in leaves.measured:
        call = classifier.call(row.astype(np.float32))
        assert (call.blight_kind != "") == (call.pattern == "blight")


def test_probabilities_lie_between_0_and_1_and_sum_to_1(leaves, classifier):
    chance = classifier.probabilities(leaves.measured)
    assert chance.shape == (len(leaves.photo), len(PATTERNS))
    assert chance.min() >= 0
    assert chance.sum(axis=1) == pytest.approx(1)


def test_a_leaf_unlike_all_others_is_left_unsure_however_probable(leaves, classifier):
    spot = leaves.measured[leaves.pattern == "spot"].mean(axis=0)
    assert classifier.call(spot.astype(np.float32)).pattern == "spot"
    odd = spot.copy()
    odd[15:] = np.where(np.arange(len(odd) - 15) % 2, 40, -40)
    call = classifier.call(odd.astype(np.float32))
    assert call.strangeness > 1
    assert call.pattern == "unsure"


def test_a_higher_bar_makes_more_leaves_unsure_and_changes_no_call(leaves, classifier):
    low, high = (replace(classifier, least_probability=bar) for bar in (0.4, 0.9))
    changed = 0
    for row in leaves.measured.astype(np.float32):
        before, after = low.call(row).pattern, high.call(row).pattern
        assert after in (before, "unsure")
        changed += after != before
    assert changed > 0


def test_a_leaf_like_those_with_other_diseases_is_left_unsure(leaves, classifier):
    row = leaves.measured[leaves.pattern == "spot"][0].astype(np.float32)
    other = np.array(CLASSES) == "other"
    unlikely, likely = (
        replace(classifier, offsets=classifier.offsets + shift * other) for shift in (-50, 50)
    )
    assert other_chances(likely.scores(row[None].astype(float)))[0] > 0.99
    assert unlikely.call(row).pattern == "spot"
    assert likely.call(row).pattern == "unsure"
    assert likely.probabilities(leaves.measured) == pytest.approx(
        unlikely.probabilities(leaves.measured)
    )


def test_what_differs_most_between_sessions_of_one_disease_weighs_nothing(leaves):
    names = [measure.name for measure in MEASURES]
    own, rng = names.index("leaf_breadth"), np.random.default_rng(4)
    measured = leaves.measured.copy()
    measured[:, own] = rng.normal(0, 1, len(measured))
    quiet = train(replace(leaves, measured=measured))
    for number, session in enumerate(np.unique(leaves.session)):  # each has a level of its own
        measured[leaves.session == session, own] += 60 * (number % 2)
    loud = train(replace(leaves, measured=measured))
    assert np.abs(loud.weights[:, own]).max() < 0.02
    assert np.abs(loud.weights[:, own]).max() < np.abs(quiet.weights).max() / 7


def test_a_pattern_that_was_not_among_the_leaves_is_never_called(leaves):
    two = leaves.where(np.isin(leaves.pattern, ("spot", "none")))
    trained = train(two)
    assert trained.probabilities(leaves.measured)[:, PATTERNS.index("blight")].max() < 1e-9
    forced = trained.probabilities(two.measured).argmax(axis=1)
    right = [PATTERNS[best] == pattern for best, pattern in zip(forced, two.pattern, strict=True)]
    assert np.mean(right) > 0.9


def test_a_session_with_leaves_of_several_patterns_is_tried_pattern_by_pattern(leaves):
    from models.pattern.training import leave_sessions_out

    mixed = replace(leaves, session=np.array([name[-1] for name in leaves.session], np.str_))
    results = leave_sessions_out(mixed)
    found = {(result.session, result.pattern) for result in results}
    assert found == {(s, p) for s in "01" for p in ("spot", "blight", "none", "other")}
    assert sum(len(result.scores) for result in results) == len(leaves.photo)


@pytest.mark.parametrize(
    "changed",
    [
        {"version": 1},
        {"classes": ["spot", "blight", "none", "other"]},
        {"measures": ["size", *(measure.name for measure in MEASURES[1:])]},
        {"measures": [measure.name for measure in MEASURES[:-1]]},
    ],
    ids=["version", "classes", "renamed", "fewer"],
)
def test_a_file_of_another_kind_is_refused_with_what_to_do(stored, changed):
    with pytest.raises(UnfitClassifier, match=r"^own\.json was trained .* `spotlamp train`\.$"):
        load_classifier(stored(**changed))


@pytest.mark.parametrize(
    "changed",
    [
        {"weights": [[0.0]]},
        {"weights": "many"},
        {"mean": None},
        {"scale": [0.0] * len(MEASURES)},
        {"temperature": 0},
        {"temperature": "hot"},
        {"offsets": [float("nan")] * 4},
        {"summary": 3},
    ],
    ids=["shape", "text", "nothing", "zero scale", "zero", "word", "nan", "summary"],
)
def test_a_file_with_damaged_numbers_is_refused(stored, changed):
    with pytest.raises(UnfitClassifier, match=r"^own\.json is damaged\.$"):
        load_classifier(stored(**changed))


@pytest.mark.parametrize("content", [b"", b"[1]", b"{", b"\xff\xfe", b'{"version": 4}', b"7"])
def test_a_file_that_is_no_classifier_is_refused(tmp_path, content):
    path = tmp_path / "own.json"
    path.write_bytes(content)
    with pytest.raises(UnfitClassifier, match=r"^own\.json is not a pattern classifier\.$"):
        load_classifier(path)


def test_a_file_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(UnfitClassifier, match=r"^no\.json cannot be opened: No such file"):
        load_classifier(tmp_path / "no.json")


def test_the_shipped_classifier_is_small_plain_json():
    data = CLASSIFIER_FILE.read_bytes()
    assert len(data) <= 5_000_000
    values = json.loads(data)
    plain = {name for name, value in values.items() if name not in ("classes", "measures")}
    assert set(ARRAYS) <= plain
    assert load_classifier().summary["leaves"] > 1000


def test_loading_a_classifier_reads_json_and_imports_nothing_that_can_run_code():
    code = (
        "import sys; from models.pattern import load_classifier; load_classifier(); "
        "print([n for n in ('pickle', 'sklearn', 'joblib', 'skops') "
        "if 'models.pattern' in str(getattr(sys.modules.get(n), '__spec__', '')) "
        "or n in sys.modules and n != 'pickle'])"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    assert done.stdout.strip() == "[]", done.stderr


def test_the_shipped_classifier_is_rebuilt_from_the_shipped_measurements():
    again = train(read_labelled(FEATURES))
    shipped = load_classifier()
    for name in (*ARRAYS, "temperature", "late_offset", "familiar"):
        # Six decimals are stored; another library's optimiser may stop a little elsewhere.
        assert getattr(shipped, name) == pytest.approx(getattr(again, name), rel=1e-4, abs=2e-6)


def test_the_shipped_classifier_was_trained_on_leaves_measured_as_the_program_measures():
    assert load_classifier().summary["measuring_version"] == MEASURING_VERSION


def test_a_table_of_measurements_comes_back(leaves, tmp_path):
    (tmp_path / "features.csv").write_bytes(labelled_csv(leaves))
    back = read_labelled(tmp_path / "features.csv")
    for name in ("photo", "session", "pattern", "blight_kind"):
        assert getattr(back, name).tolist() == getattr(leaves, name).tolist()
    assert back.measured == pytest.approx(leaves.measured, rel=1e-4, nan_ok=True)


def call(pattern, spot=0.0, blight=0.0, none=0.0, kind="", strange=0.5, why=""):
    return PatternCall(pattern, spot, blight, none, kind, strange, why or f"{pattern}.")


SPOT = call("spot", 0.8, 0.1, 0.05)
HEALTHY = call("none", 0.02, 0.03, 0.9)
EARLY = call("blight", 0.1, 0.8, 0.05, "early")
LATE = call("blight", 0.1, 0.7, 0.05, "late")


def test_no_leaf_gives_no_call():
    assert combine([], 0.5) is None


def test_one_leaf_is_its_own_call():
    assert combine([SPOT], 0.5) == SPOT


def test_sick_leaves_decide_however_many_healthy_ones_hang_beside_them():
    together = combine([HEALTHY] * 9 + [SPOT], 0.5)
    assert (together.pattern, together.p_spot, together.reason) == ("spot", 0.8, SPOT.reason)


def test_healthy_leaves_alone_are_healthy():
    assert combine([HEALTHY, HEALTHY], 0.5).pattern == "none"


def test_a_doubtful_leaf_makes_a_plant_unsure_only_where_healthy_leaves_are_not_in_the_majority():
    doubtful = call("unsure", 0.4, 0.3, 0.3)
    assert combine([HEALTHY, HEALTHY, doubtful], 0.5).pattern == "none"
    assert combine([HEALTHY, doubtful], 0.5).pattern == "unsure"
    assert combine([SPOT, doubtful, doubtful], 0.5).pattern == "spot"


def test_probabilities_of_sick_leaves_are_averaged():
    together = combine([SPOT, EARLY], 0.5)
    # (0.8 + 0.1) / 2 = 0.45 for both: below one half.
    assert together.p_spot == pytest.approx(0.45)
    assert together.p_blight == pytest.approx(0.45)
    assert together.pattern == "unsure"
    assert together.blight_kind == ""
    assert combine([SPOT, EARLY], 0.4).pattern in ("spot", "blight")


def test_one_late_blight_like_leaf_speaks_for_all():
    assert combine([EARLY, EARLY, LATE], 0.5).blight_kind == "late"
    assert combine([EARLY, EARLY], 0.5).blight_kind == "early"
    doubtful = replace(EARLY, blight_kind="unsure")
    assert combine([EARLY, doubtful], 0.5).blight_kind == "unsure"


def test_leaves_that_are_all_strange_leave_the_plant_unsure():
    strange = replace(SPOT, strangeness=1.5, pattern="unsure")
    assert combine([strange, strange], 0.5).pattern == "unsure"
    assert combine([strange, SPOT], 0.5).pattern == "spot"
    strange_late = replace(LATE, strangeness=1.5, pattern="unsure", blight_kind="")
    assert combine([strange_late, SPOT], 0.5).pattern == "spot"


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (SPOT, "spot-like"),
        (EARLY, "early-blight-like"),
        (LATE, "late-blight-like"),
        (replace(EARLY, blight_kind="unsure"), "blight-like"),
        (HEALTHY, "no pattern"),
        (call("unsure"), "unsure"),
    ],
)
def test_a_call_in_words_says_what_it_looks_like(made, words):
    assert in_words(made) == words
