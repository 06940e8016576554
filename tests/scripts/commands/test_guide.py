"""The manual in the terminal: its first page, any other, and none of that name."""

import pytest

from scripts.guide.pages import TOPICS, title


def test_the_guide_opens_with_my_week_and_lists_all_pages(spotlamp):
    shown = spotlamp("guide").output
    assert shown.startswith("My week")
    for topic in TOPICS:
        assert f"  {topic} " in shown
        assert title(topic) in shown


@pytest.mark.parametrize("topic", TOPICS)
def test_each_page_is_shown_alone(spotlamp, topic):
    shown = spotlamp("guide", topic).output
    assert shown.startswith(title(topic))
    assert "Pages, each shown by" not in shown


def test_a_topic_of_two_words_needs_no_quotes(spotlamp):
    assert spotlamp("guide", "my", "week").output.startswith("My week")


def test_an_unknown_page_ends_with_2_and_one_sentence(spotlamp):
    result = spotlamp("guide", "fotos", code=2)
    assert result.stderr == "The guide has no page “fotos”. Did you mean photos?\n"
