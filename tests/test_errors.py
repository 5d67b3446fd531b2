"""Errors cross from a worker process to its starter as they were."""

import pickle

import pytest

from reelmark.errors import BadValue, Clash, NotThere, Problem


@pytest.mark.parametrize(
    "problem",
    [
        Problem("a plan", "none was found", "give more time"),
        BadValue("cut_off", 3, "it is too short", "lengthen it"),
        NotThere("sheet", 9, "the pile has 8", "count again"),
        Clash("name", "a", "two have it", "give each its own"),
    ],
)
def test_a_problem_is_the_same_after_a_pipe(problem: Problem):
    back = pickle.loads(pickle.dumps(problem))
    assert type(back) is type(problem)
    assert str(back) == str(problem)
    assert back.__dict__ == problem.__dict__
