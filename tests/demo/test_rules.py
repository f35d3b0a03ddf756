"""Every rule of the method decides something in the demo catalogue, and no other rule decides it."""

from __future__ import annotations

from collections import Counter

import pytest

from specdb.duty.rules import RULES as DERIVING
from tests.demo.catalogue import Demo
from tests.demo.rules import RULES, Rule


@pytest.mark.parametrize("rule", RULES, ids=[rule.sentence for rule in RULES])
def test_rule_decides(rule: Rule, demo: Demo, monkeypatch: pytest.MonkeyPatch) -> None:
    snapshot = demo.loaded(rule.asked["as_of"]) if "as_of" in rule.asked else demo.snapshot
    with_rule = rule.answered(rule.asked, snapshot)
    assert with_rule == rule.with_rule

    asked = rule.off.asked or rule.asked
    without = rule.answered(asked, rule.off.snapshot(demo, asked, monkeypatch))
    assert without == rule.without
    assert without != with_rule, "switching the rule off changes nothing"


def test_each_rule_is_switched_off_in_one_way_and_named_once() -> None:
    assert all(bool(rule.off.code) + (rule.off.fact is not None) + (rule.off.asked is not None) == 1 for rule in RULES)
    assert not [sentence for sentence, times in Counter(rule.sentence for rule in RULES).items() if times > 1]


def test_each_rule_that_derives_a_requirement_is_switched_off() -> None:
    switches = [(rule.off.asked or {"duty": {}})["duty"].get("derive", {}) for rule in RULES]
    assert {key for each in switches for key, value in each.items() if value is False} == set(DERIVING)
