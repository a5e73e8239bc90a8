"""What is advised over a dried repair."""

from colormatch.check.compare import Judged
from colormatch.check.judge import advise
from tests.check.dried import FAR, NEAR, checks


def test_advice_says_stop_where_nobody_would_see_it() -> None:
    near, _ = checks(near=NEAR, far=FAR)
    assert "Stop here" in advise(Judged((near,)), ())[0]
