"""Flags have names that other programs rely on, and say what they forbid."""

from vision.flags import FLAGS, NOT_FOR_SPRAYING, explain, in_order

FROZEN = (
    "blurred",
    "too_dark",
    "over_exposed",
    "colour_cast",
    "small",
    "no_single_leaf",
    "no_leaf",
    "red_blue_swapped",
    "cut_off",
    "touching",
    "outline_unknown",
    "all_sick",
    "busy_background",
    "many_small_leaves",
    "bad_date",
    "future_date",
    "no_date",
    "clock_doubtful",
    "set_aside",
    "grey_photo",
    "not_uv_photo",
    "nothing_lit",
    "torch_weak",
    "hot_spot",
    "shaken",
    "glow_hidden",
    "torch_off_unfit",
    "tag_unclear",
    "tag_tilted",
    "tag_small",
    "tag_doubled",
    "tag_unknown",
)


def test_the_names_and_their_order_are_a_contract():
    """A new flag goes where people should read it; none is renamed or taken out."""
    assert tuple(FLAGS) == FROZEN


def test_each_flag_is_one_whole_sentence_for_people():
    for flag in FLAGS.values():
        assert flag.sentence == explain(flag.name)
        assert flag.sentence[0].isupper()
        assert flag.sentence.endswith(".")


def test_no_spray_rests_on_a_photo_without_colour_light_or_date():
    assert {"blurred", "too_dark", "colour_cast", "grey_photo", "no_date"} <= NOT_FOR_SPRAYING
    assert not {"cut_off", "touching", "busy_background", "tag_small"} & NOT_FOR_SPRAYING


def test_flags_are_shown_once_each_in_their_order():
    assert in_order(["cut_off", "blurred", "cut_off"]) == ("blurred", "cut_off")
