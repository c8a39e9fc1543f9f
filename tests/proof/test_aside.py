"""What a second process works out is what this one would have."""

import os

import pytest

from sequencer.proof.aside import Aside, able


def failing():
    raise ValueError("told to the one who asks")


@pytest.mark.parametrize("together", [False, True])
def test_the_answer_and_what_is_raised_are_the_same_in_either_process(together):
    made = [1, 2, 3]
    assert Aside(lambda: (sum(made), os.getpid()), together).get()[0] == 6
    with pytest.raises(ValueError, match="told to the one who asks"):
        Aside(failing, together).get()


@pytest.mark.skipif(not able(), reason="no second process here: another system than Linux, or one processor")
def test_a_second_process_does_the_work_and_starts_none_of_its_own():
    assert Aside(lambda: (os.getpid() != 0, able()), True).get() == (True, False)
    assert Aside(os.getpid, True).get() != os.getpid() == Aside(os.getpid, False).get()
