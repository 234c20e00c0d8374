"""From where to where any choice serves, in words, as far as anything was looked at."""

import pytest

from colsim.advice.window import Window


@pytest.mark.parametrize(
    ("low", "high", "below", "above", "text"),
    [
        (
            1.24,
            15.96,
            "second one",
            "stands proud",
            "from 1.3 to 15.9 mm serves (less: second one; more: stands proud).",
        ),
        (1.2, 24.0, "second one", "", "from 1.2 to 24 mm serves (less: second one; more was not looked at)."),
        (6.0, 15.5, "", "stands proud", "from 6 to 15.5 mm serves (less was not looked at; more: stands proud)."),
        (0.0, 15.5, "", "stands proud", "from 0 to 15.5 mm serves (more: stands proud)."),
    ],
)
def test_it_says_what_ends_it_and_where_nothing_was_looked_at(low, high, below, above, text):
    assert Window(low, high, below, above, 0.5, 32, "mm").in_words() == f"Anything {text}"
