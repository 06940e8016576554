"""Which files count as photos, what they are called, and what is passed over."""

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision.photo.find import OUTPUT_MARKER, PHOTO_ENDINGS, PathNotFound, find_photos, printable


def make(folder, *names):
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(name.encode("utf-8", "surrogateescape"))
    return folder


def names(*paths):
    return [photo.name for photo in find_photos(paths).photos]


def test_photos_are_found_in_all_folders_below_sorted_and_named_with_slashes(tmp_path):
    make(tmp_path, "z.jpg", "bed 2/b.png", "bed 2/a.webp", "a/b/c/d.HEIC")
    assert names(tmp_path) == ["a/b/c/d.HEIC", "bed 2/a.webp", "bed 2/b.png", "z.jpg"]


def test_every_photo_leads_to_the_file_it_is_named_after(tmp_path):
    make(tmp_path, "z.jpg", "bed 2/b.png", "bed 2/a.webp")
    for photo in find_photos([tmp_path]).photos:
        assert photo.path.read_text() == photo.name


@pytest.mark.parametrize("ending", sorted(PHOTO_ENDINGS))
def test_each_ending_counts_in_small_and_capital_letters(tmp_path, ending):
    make(tmp_path, f"small{ending}", f"CAPITAL{ending.upper()}")
    assert len(names(tmp_path)) == 2


def test_the_endings_are_those_that_are_promised():
    assert sorted(PHOTO_ENDINGS) == (
        [".heic", ".heif", ".hif", ".jpe", ".jpeg", ".jpg", ".png", ".tif", ".tiff", ".webp"]
    )


def test_hidden_entries_and_other_files_are_passed_over_and_counted(tmp_path):
    make(tmp_path, "a.jpg", ".b.jpg", ".album/c.jpg", ".album/d.jpg", "notes.txt", "sub/film.mp4")
    found = find_photos([tmp_path])
    assert [photo.name for photo in found.photos] == ["a.jpg"]
    assert (found.hidden_count, found.other_count) == (2, 2)


def test_a_folder_without_photos_gives_none(tmp_path):
    found = find_photos([make(tmp_path, "notes.txt")])
    assert found.photos == ()
    assert found.other_count == 1


def test_no_paths_give_no_photos():
    assert find_photos([]).photos == ()


def test_a_path_that_does_not_exist_is_one_sentence(tmp_path):
    with pytest.raises(PathNotFound, match=r"^There is no file or folder “.*/leaves”\.$"):
        find_photos([tmp_path, tmp_path / "leaves"])


@pytest.mark.parametrize("name", ["x" * 5000, "a\0b", "photo.jpg/inside"])
def test_a_path_that_cannot_exist_is_one_sentence(tmp_path, name):
    make(tmp_path, "photo.jpg")
    with pytest.raises(PathNotFound, match=r"^“.*” cannot be reached: .*\.$"):
        find_photos([tmp_path / name])


def test_a_file_given_itself_has_its_own_name(tmp_path):
    make(tmp_path, "deep/down/leaf.jpg")
    assert names(tmp_path / "deep/down/leaf.jpg") == ["leaf.jpg"]


def test_a_hidden_photo_or_folder_given_itself_is_taken(tmp_path):
    make(tmp_path, ".mine/a.jpg", ".b.jpg")
    assert names(tmp_path / ".mine", tmp_path / ".b.jpg") == [".b.jpg", "a.jpg"]


def test_a_file_of_another_kind_given_itself_is_counted(tmp_path):
    found = find_photos([make(tmp_path, "notes.txt") / "notes.txt"])
    assert (found.photos, found.other_count) == ((), 1)


def test_a_folder_given_twice_is_read_once(tmp_path):
    make(tmp_path, "a.jpg", "sub/b.jpg", "notes.txt")
    found = find_photos([tmp_path, tmp_path, tmp_path / "sub", tmp_path / "sub" / ".."])
    assert [photo.name for photo in found.photos] == ["a.jpg", "sub/b.jpg"]
    assert found.other_count == 1


@pytest.mark.parametrize("file_first", [True, False])
def test_a_file_given_beside_its_folder_is_listed_once(tmp_path, file_first):
    make(tmp_path, "a.jpg", "sub/b.jpg")
    paths = [tmp_path / "sub/b.jpg", tmp_path]
    assert len(names(*(paths if file_first else reversed(paths)))) == 2


def test_links_in_a_circle_do_no_harm(tmp_path):
    make(tmp_path, "a/leaf.jpg")
    (tmp_path / "a/up").symlink_to(tmp_path, target_is_directory=True)
    (tmp_path / "a/self.jpg").symlink_to(tmp_path / "a/self.jpg")
    assert names(tmp_path) == ["a/leaf.jpg", "a/self.jpg"]


def test_a_linked_folder_is_followed_and_a_linked_photo_listed_once(tmp_path):
    make(tmp_path, "store/leaf.jpg", "mine/other.jpg")
    (tmp_path / "mine/linked").symlink_to(tmp_path / "store", target_is_directory=True)
    (tmp_path / "mine/twin.jpg").symlink_to(tmp_path / "mine/other.jpg")
    assert names(tmp_path / "mine") == ["linked/leaf.jpg", "other.jpg"]


def test_a_broken_link_named_like_a_photo_is_kept_for_the_reader_to_report(tmp_path):
    (tmp_path / "gone.jpg").symlink_to(tmp_path / "nowhere.jpg")
    assert names(tmp_path) == ["gone.jpg"]


def test_a_pipe_named_like_a_photo_is_no_photo(tmp_path):
    os.mkfifo(tmp_path / "pipe.jpg")
    found = find_photos([tmp_path, tmp_path / "pipe.jpg"])
    assert (found.photos, found.other_count) == ((), 1)


def test_folders_of_our_own_results_are_passed_over_while_walking(tmp_path):
    make(tmp_path, "a.jpg", "out/overlays/a.jpg", f"out/{OUTPUT_MARKER}")
    found = find_photos([tmp_path])
    assert [photo.name for photo in found.photos] == ["a.jpg"]
    assert (found.output_count, found.hidden_count) == (1, 0)


def test_a_given_folder_is_read_even_if_results_were_written_into_it(tmp_path):
    make(tmp_path, "a.jpg", OUTPUT_MARKER)
    found = find_photos([tmp_path])
    assert ([photo.name for photo in found.photos], found.hidden_count) == (["a.jpg"], 0)


def test_a_folder_that_cannot_be_listed_is_recorded_and_the_rest_is_found(tmp_path, monkeypatch):
    make(tmp_path, "a.jpg", "locked/b.jpg")
    really = os.scandir

    def refusing(folder):
        if Path(folder).name == "locked":
            raise PermissionError(13, "Permission denied")
        return really(folder)

    monkeypatch.setattr(os, "scandir", refusing)
    found = find_photos([tmp_path])
    assert [photo.name for photo in found.photos] == ["a.jpg"]
    assert found.unlisted == (tmp_path / "locked",)


def test_the_same_name_in_two_given_folders_gets_the_folders_names(tmp_path):
    make(tmp_path, "monday/1.jpg", "monday/2.jpg", "friday/1.jpg", "may/9.jpg")
    given_folders = [tmp_path / day for day in ("monday", "friday", "may")]
    assert names(*given_folders) == ["9.jpg", "friday/1.jpg", "monday/1.jpg", "monday/2.jpg"]


def test_given_folders_of_the_same_name_are_numbered(tmp_path):
    make(tmp_path, "a/bed/1.jpg", "b/bed/1.jpg", "c/bed/1.jpg")
    assert names(*(tmp_path / letter / "bed" for letter in "abc")) == (
        ["bed-2/1.jpg", "bed-3/1.jpg", "bed/1.jpg"]
    )


def test_files_of_the_same_name_given_themselves_get_their_folders_names(tmp_path):
    make(tmp_path, "monday/1.jpg", "friday/1.jpg")
    assert names(tmp_path / "monday/1.jpg", tmp_path / "friday/1.jpg") == (
        ["friday/1.jpg", "monday/1.jpg"]
    )


@given(
    st.lists(
        st.lists(st.sampled_from(["1.jpg", "a/1.jpg", "a-2/1.jpg", "a/a/1.jpg"]), min_size=1),
        min_size=1,
        max_size=4,
    )
)
def test_names_are_unique_and_every_photo_is_there_whatever_the_folders_hold(
    tmp_path_factory, contents
):
    top = tmp_path_factory.mktemp("folders")
    roots = [make(top / str(number) / "a", *files) for number, files in enumerate(contents)]
    found = names(*roots)
    assert len(set(found)) == len(found) == sum(len(set(files)) for files in contents)


ODD_NAMES = ["two words.jpg", "a,b.jpg", "\"quoted\" 'leaf'.jpg", "лист 葉 ورقة.jpg", "=1+1.jpg"]


def test_odd_names_are_kept_as_they_are(tmp_path):
    make(tmp_path, *ODD_NAMES)
    assert names(tmp_path) == sorted(ODD_NAMES)


def test_a_name_that_is_not_utf8_can_still_be_written_into_a_table(tmp_path):
    path = tmp_path / os.fsdecode(b"bl\xe4tt.jpg")
    try:
        path.write_bytes(b"x")
    except (OSError, UnicodeError):
        pytest.skip("this file system takes UTF-8 names alone")
    (photo,) = find_photos([tmp_path]).photos
    assert photo.name == r"bl\xe4tt.jpg"
    assert photo.path.read_bytes() == b"x"


def test_control_signs_cannot_reach_the_terminal():
    assert printable("a\x1b[31m\n葉 \udce4.jpg") == r"a\x1b[31m\n葉 \udce4.jpg"
