"""The table of crops never learned from, on calls counted by hand."""

from models.pattern import PatternCall, load_classifier
from scripts.workshop.figures.pattern_unseen import called, groups_of, unseen_photos, unseen_table


def call(pattern, spot=0.0, blight=0.0, kind=""):
    return PatternCall(pattern, spot, blight, 1 - spot - blight, kind, 0.5, "")


LEAVES = [
    ("potato, late blight", "blight", call("blight", 0.05, 0.9, "late")),
    ("potato, late blight", "blight", call("blight", 0.05, 0.9, "unsure")),
    ("potato, late blight", "blight", call("spot", 0.6, 0.3)),
    ("potato, late blight", "blight", call("unsure", 0.3, 0.4)),
    ("bean, healthy", "none", call("none")),
    ("bean, healthy", "none", call("spot", 0.9, 0.0)),
    ("bean, bean rust", "other", call("unsure", 0.5, 0.1)),
    ("bean, bean rust", "other", call("spot", 0.8, 0.1)),
]
GROUPS = groups_of(*zip(*LEAVES, strict=True))


def test_leaves_are_put_together_by_what_they_show():
    assert [(g.name, g.pattern, len(g.calls)) for g in GROUPS] == [
        ("potato, late blight", "blight", 4),
        ("bean, healthy", "none", 2),
        ("bean, bean rust", "other", 2),
    ]


def test_three_of_four_are_called_and_two_of_these_rightly():
    assert called(GROUPS[0]) == (0.75, 2 / 3)


def test_the_table_tells_forced_choice_and_alarms():
    table = unseen_table(GROUPS, load_classifier())
    potato, healthy, rust = (line.split("|")[1:-1] for line in table.splitlines()[2:5])
    cells = [cell.strip() for cell in potato]
    # Three of four are likelier blight; one of four looks like late blight, as every plant does
    # of which it is a leaf.
    assert cells == ["potato, late blight", "4", "blight", "0.75", "0.75", "0.67", "0.25", "1.00"]
    assert [cell.strip() for cell in healthy[3:6]] == ["", "1.00", "0.50"]
    assert [cell.strip() for cell in rust[3:6]] == ["", "0.50", ""]
    assert "Of healthy leaves 1 of 2 are called spot or blight" in table
    assert "0.50 of the look-alikes" in table


def test_the_photos_of_each_crop_are_grouped_by_crop_and_label(tmp_path):
    tables = {
        "potato": ("photo,pattern,label", "a.jpg,blight,late_blight"),
        "pepper": ("photo,pattern,label", "b.jpg,none,healthy"),
        "field": ("photo,source,pattern,label", "bean/c.jpg,bean,other,bean-rust"),
    }
    for folder, lines in tables.items():
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "labels.csv").write_text("\n".join(lines) + "\n")
    found = [(p.session, p.pattern, p.path.parent.name) for p in unseen_photos(tmp_path)]
    assert found == [
        ("potato, late blight", "blight", "potato"),
        ("pepper, healthy", "none", "pepper"),
        ("bean, bean rust", "other", "bean"),
    ]
