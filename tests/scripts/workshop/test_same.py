"""What compares two checkouts notices a file that differs, or that one of them lacks."""

import cv2
import numpy as np

from scripts.workshop.figures.same import chosen_photos, differing


def results(folder, severity, grey=0, key=b""):
    (folder / "overlays").mkdir(parents=True)
    (folder / "photos.csv").write_text(f"photo,severity_pct\na.jpg,{severity}\n", "utf-8")
    picture = cv2.imencode(".jpg", np.full((8, 8, 3), grey, np.uint8))[1].tobytes()
    (folder / "overlays" / "a.jpg").write_bytes(picture + key)


def test_files_that_differ_or_are_missing_are_named(tmp_path):
    results(tmp_path / "before", 5)
    results(tmp_path / "same", 5, key=b"another key")
    results(tmp_path / "paler", 5, grey=90)
    results(tmp_path / "other", 6)
    assert differing(tmp_path / "before", tmp_path / "same") == []
    assert differing(tmp_path / "before", tmp_path / "other") == ["photos.csv"]
    assert differing(tmp_path / "before", tmp_path / "paler") == ["overlays/a.jpg"]
    (tmp_path / "other" / "overlays" / "a.jpg").unlink()
    moved = differing(tmp_path / "before", tmp_path / "other")
    assert moved == ["overlays/a.jpg", "photos.csv"]


def test_the_same_photos_are_chosen_again_and_no_masks(tmp_path):
    for name in ("a.jpg", "b.jpg", "c.png", "masks/a.png", "notes.txt"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"")
    assert chosen_photos(tmp_path, 2) == chosen_photos(tmp_path, 2)
    assert [path.name for path in chosen_photos(tmp_path, 9)] == ["a.jpg", "b.jpg", "c.png"]
