"""Progress told in lines, where there is no terminal."""

from scripts.common.progress import PhotoProgress


def test_a_second_count_of_photos_begins_anew(capsys):
    with PhotoProgress() as progress:
        for total in (2, 1):
            progress.start(total)
            for _ in range(total):
                progress.done(None)
    told = capsys.readouterr().err.splitlines()
    assert told == ["2 of 2 photos done", "1 of 1 photos done"]
