"""What is missing is skipped with the reason, and fails under CI=true."""

import pytest

from tests.needs import command, require


def test_missing_thing_skips_by_hand_and_fails_under_ci(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(pytest.skip.Exception, match="the thing is missing"):
        require(None, "the thing")
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match="the thing is missing"):
        require(None, "the thing")


def test_present_thing_comes_back_even_where_it_is_zero() -> None:
    assert require(0, "the thing") == 0
    assert require(command("python"), "Python").name == "python"
    assert command("no-such-command-anywhere") is None
