"""A file or folder that cannot be used is one sentence, and none keeps a command waiting."""

import os
import shutil

import pytest


@pytest.fixture
def pipe(tmp_path):
    """Make a pipe into which nobody writes: reading it would take for ever."""
    path = tmp_path / "pipe"
    os.mkfifo(path)
    return path


def test_a_pipe_as_classifier_is_one_sentence(pipe, garden, tmp_path, spotlamp):
    result = spotlamp("score", garden, "--out", tmp_path / "out", "--classifier", pipe, code=1)
    assert "it is no ordinary file" in result.stderr
    assert result.stderr.count("\n") == 1


def test_a_pipe_or_a_missing_file_as_classifier_of_a_garden_is_one_sentence(
    pipe, garden, tmp_path, spotlamp
):
    spotlamp("new", tmp_path / "mine", "--bed", "North=A1")
    for path in (pipe, tmp_path / "missing.json"):
        options = ("--garden", tmp_path / "mine", "--classifier", path)
        result = spotlamp("score", garden, "--out", tmp_path / "out", *options, code=1)
        assert result.stderr.count("\n") == 1


def test_a_pipe_as_settings_of_a_garden_is_one_sentence(pipe, tmp_path, spotlamp):
    spotlamp("new", tmp_path / "mine", "--bed", "North=A1")
    (tmp_path / "mine" / "garden.toml").unlink()
    shutil.move(pipe, tmp_path / "mine" / "garden.toml")
    result = spotlamp("today", "--garden", tmp_path / "mine", code=2)
    assert result.stderr.count("\n") == 1


def test_a_pipe_in_a_data_package_is_one_sentence(pipe, tmp_path, spotlamp):
    spotlamp("new", tmp_path / "mine", "--bed", "North=A1")
    spotlamp("export", tmp_path / "package", "--garden", tmp_path / "mine")
    spotlamp("new", tmp_path / "other", "--bed", "North=A1")
    table = next((tmp_path / "package").glob("*.csv"))
    table.unlink()
    shutil.move(pipe, table)
    result = spotlamp("import", tmp_path / "package", "--garden", tmp_path / "other", code=1)
    assert "it is no ordinary file" in result.stderr


def test_a_pipe_as_table_of_labels_is_one_sentence(pipe, tmp_path, spotlamp):
    result = spotlamp("check", pipe, "--out", tmp_path / "out", code=1)
    assert "it is no ordinary file" in result.stderr


@pytest.mark.parametrize(
    "words",
    [
        ("flag", "--garden", "{mine}"),
        ("log", "rain", "3mm", "--garden", "{mine}"),
        ("score", "{mine}", "--out", "{mine}/out"),
        ("score", "{mine}/A1", "--out", "{mine}/out"),
        ("burn", "A1", "--garden", "{mine}"),
        ("trend", "--garden", "{mine}", "--out", "{mine}/out"),
        ("new", "{mine}/further"),
    ],
)
def test_a_garden_that_may_not_be_entered_is_one_sentence(
    words, tmp_path, spotlamp, without_rights
):
    mine = tmp_path / "mine"
    spotlamp("new", mine, "--bed", "North=A1", "--time-zone", "UTC")
    spotlamp("flag", "--garden", mine)  # what is loaded late is loaded by who may
    with without_rights(mine):
        said = spotlamp(*(word.format(mine=mine) for word in words), code=1).stderr
    assert said.startswith(f"“{mine}")
    assert said.endswith("cannot be used: Permission denied.\n")
    assert said.count("\n") == 1
