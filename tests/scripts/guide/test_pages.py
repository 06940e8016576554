"""Pages of the manual as plain text: by hand on a small one, and on all there are."""

import re
from pathlib import Path

import pytest

import scripts.guide.pages
from scripts.guide.pages import TOPICS, NoSuchPageError, contents, page, plain, source, title

MARKDOWN = """# A page

Two **bold** lines, with `code` and `two words`,
of [one](other.md) paragraph.

- an item that is
  told in two lines
1. and a number

```
spotlamp score    photos
# left as it is
```

![a picture](picture.jpg)

<!-- figures:x -->
| head | second |
| ---- | ------ |
| `cell` | said | |
<!-- /figures -->

## Below
"""

PLAIN = """A page
======

Two bold lines, with code and
“two words”, of one paragraph.

- an item that is told in two
  lines
1. and a number

    spotlamp score    photos
    # left as it is

  cell
      said

Below
-----"""


def test_a_page_of_markdown_becomes_plain_text():
    assert plain(MARKDOWN, 30) == PLAIN


def test_each_page_is_in_the_list_of_topics_and_each_topic_has_a_page():
    folder = Path(scripts.guide.pages.__file__).parent
    assert {path.stem for path in folder.glob("*.md")} == set(TOPICS)
    assert TOPICS[0] == "week"


@pytest.mark.parametrize("topic", TOPICS)
def test_a_page_shows_all_its_words_and_no_marks(topic):
    shown = page(topic, 100)
    prose = re.sub(r"^    .*$", "", shown, flags=re.MULTILINE)  # code stays as it is
    assert not re.search(r"\*\*|`|\]\(|<!--|^#|^\|", prose, re.MULTILINE)
    lines = [line for line in prose.splitlines() if len(line) > 100]
    assert lines == []
    written = re.sub(r"!\[[^\]]*\]\([^)]*\)|\]\([^)]*\)|<!--.*?-->", "", source(topic))
    written = re.sub(r"^\|.*\n\|[-| :]+$", "", written, flags=re.MULTILINE)
    assert set(re.findall(r"\w+", written)) <= set(re.findall(r"\w+", shown))


@pytest.mark.parametrize("topic", TOPICS)
def test_a_pages_title_says_what_it_tells(topic):
    assert source(topic).startswith(f"# {title(topic)}\n")
    assert f"  {topic.ljust(9)}  {title(topic)}" in contents()


@pytest.mark.parametrize("written", ["week", "my week", "My Week", " WEEK "])
def test_a_topic_may_be_written_as_people_say_it(written):
    assert page(written, 80).startswith("My week")


@pytest.mark.parametrize(
    ("written", "hint"),
    [
        ("dropings", "Did you mean droppings?"),
        ("parasitised", "The word stands in: droppings."),
        ("xyzzy", "There are: week, photos,"),
        ("", "There are: week, photos,"),
    ],
)
def test_a_page_that_is_not_there_is_refused_with_a_hint(written, hint):
    with pytest.raises(NoSuchPageError, match=re.escape(hint)):
        page(written, 80)
