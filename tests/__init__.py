"""The tests. What they share asserts too, and says what it found as a test does."""

import pytest

pytest.register_assert_rewrite("tests.map_pages", "tests.handed", "tests.making")
