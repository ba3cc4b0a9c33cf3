"""A second verifier and a second way to a case's figures, sharing no code with the program.

The format: each line is canonical JSON (RFC 8785), is numbered from 1 and has the SHA-256 of the
line before it. A checkpoint has the number of lines and the hash of the last one.
"""

from __future__ import annotations

import hashlib
import json
import tomllib
from statistics import median
from typing import Any

import jcs


def verify(content: bytes, checkpoint: str) -> str:
    """What is wrong with the bytes; "" if they hold."""
    last, (*lines, torn) = "0" * 64, content.split(b"\n")
    for number, line in enumerate(lines, 1):
        try:
            value = json.loads(line)
            linked = (value["seq"], value["prev"]) == (number, last)
            sound = linked and jcs.canonicalize(value) == line
        except (ValueError, TypeError, KeyError, RecursionError):
            sound = False
        if not sound:
            return f"line {number}"
        last = hashlib.sha256(line).hexdigest()
    return "" if not torn and f"{len(lines)}:{last}" == checkpoint else "the end"


def stated(content: bytes) -> set[str]:
    """The items that were stated and satisfied in the course."""
    lines = [json.loads(line)["fact"] for line in content.splitlines()]
    phases = tomllib.loads(lines[0]["procedure"])["phases"]
    answers = {
        (item["id"], answer["id"]): answer.get("satisfies", True)
        for phase in phases
        for item in phase["items"]
        for answer in item["answers"]
    }
    return {
        fact["item"]
        for fact in lines
        if fact["type"] == "Stated" and answers[fact["item"], fact["answer"]]
    }


def acts(content: bytes) -> tuple[float | None, int]:
    """Seconds to the first act stated in the course, or None; the number noted outside it."""
    lines = [json.loads(line) for line in content.splitlines()]
    phases = tomllib.loads(lines[0]["fact"]["procedure"])["phases"]
    clips = {item["id"] for phase in phases for item in phase["items"] if item["kind"] == "act"}
    found = [line for line in lines if line["fact"].get("item") in clips]
    stated = [line for line in found if line["fact"]["type"] == "Stated"]
    noted = [line for line in found if line["fact"]["type"] == "Noted"]
    since_us = stated[0]["at"]["mono_us"] - lines[0]["at"]["mono_us"] if stated else None
    return None if since_us is None else since_us / 1e6, len(noted)


def figures(content: bytes) -> dict[str, Any]:  # noqa: C901 - one pass in one place
    """The columns of one log in a collection, from one pass over its lines as plain JSON."""
    lines = [json.loads(line) for line in content.splitlines()]
    opened = lines[0]["fact"]
    items = [
        item for phase in tomllib.loads(opened["procedure"])["phases"] for item in phase["items"]
    ]
    kinds = {item["id"]: item["kind"] for item in items}
    good = {
        (item["id"], answer["id"])
        for item in items
        for answer in item["answers"]
        if answer.get("satisfies", True)
    }
    required = {item["id"] for item in items if item.get("required", True)}
    criteria = {item for item, kind in kinds.items() if kind == "criterion"}
    pause = next(item for item, kind in kinds.items() if kind == "pause")

    stands: dict[str, float] = {}
    answers: dict[str, str] = {}
    first: dict[str, float] = {}
    act: dict[str, Any] = {}
    count = dict.fromkeys(
        ("refused", "lapses", "bailed", "over", "heard", "clear", "other", "held", "denied"), 0
    )
    sure: list[float] = []
    together = None
    for line in lines:
        fact, cause = line["fact"], line["cause"] or {"type": ""}
        kind = fact["type"]
        now_s = (line["at"]["mono_us"] - lines[0]["at"]["mono_us"]) / 1e6
        if kind in ("Stated", "Noted") and kinds[fact["item"]] == "act" and not act:
            ages = [now_s - stands[item] for item in criteria if item in stands]
            act = {
                "first_act_s": now_s,
                "first_act_outside": kind == "Noted",
                "criteria_stood_s": min(ages) if len(ages) == len(criteria) else None,
                "pause_before_act": pause in stands,
            }
        fell = [*fact.get("lapsed", []), *([fact["item"]] if kind == "Withdrawn" else [])]
        count["lapses"] += bool(fact.get("lapsed"))
        for item in fell:
            stands.pop(item, None)
            answers.pop(item, None)
        if kind == "Stated":
            item, answer = fact["item"], fact["answer"]
            if answers.get(item) != answer:
                stands.pop(item, None)
                if (item, answer) in good:
                    stands[item] = now_s
            answers[item] = answer
            if (item, answer) in good:
                first.setdefault(item, now_s)
        if together is None and criteria <= set(stands):
            together = now_s
        count["held"] += kind == "Stated" and kinds[fact["item"]] == "pause"
        count["denied"] += kind == "Retracted"
        count["refused"] += kind == "Refused"
        count["bailed"] += kind == "BailedOut"
        count["over"] += kind == "Overridden"
        if cause["type"] == "Heard":
            count["heard"] += 1
            count["clear"] += kind != "NotUnderstood"
            count["other"] += kind == "NotUnderstood" and fact["why"] == "other_speech"
            if kind != "NotUnderstood":
                sure.append(cause["confidence"])
    return {
        "case": opened["case"],
        "month": lines[0]["at"]["utc"][:7],
        "opened_utc": lines[0]["at"]["utc"],
        "length_s": now_s,
        "lines": len(lines),
        "closed": lines[-1]["fact"]["type"] == "Closed",
        "items_required": len(required),
        "items_stated": len(required & set(first)),
        "items_standing": len(required & set(stands)),
        "criteria_s": together,
        "first_act_s": None,
        "first_act_outside": None,
        "criteria_stood_s": None,
        "pause_before_act": None,
        **act,
        "pauses_held": count["held"],
        "refusals": count["refused"],
        "lapses": count["lapses"],
        "bail_outs": count["bailed"],
        "overrides": count["over"],
        "negatives": count["denied"],
        "heard": count["heard"],
        "understood": count["clear"],
        "other_speech": count["other"],
        "confidence_median": median(sure) if sure else None,
    }


def calls(content: bytes) -> dict[str, Any]:  # noqa: C901 - one pass
    """When clips and divisions were called for and what lapsed, from one pass over plain JSON."""
    lines = [json.loads(line) for line in content.splitlines()]
    phases = tomllib.loads(lines[0]["fact"]["procedure"])["phases"]
    items = [item for phase in phases for item in phase["items"]]
    kinds = {item["id"]: item["kind"] for item in items}
    good = {
        (item["id"], answer["id"])
        for item in items
        for answer in item["answers"]
        if answer.get("satisfies", True)
    }
    before: list[str] = []
    for phase in phases:
        if any(item["kind"] == "act" for item in phase["items"]):
            break
        before += [item["id"] for item in phase["items"] if item.get("required", True)]

    stands: set[str] = set()
    answers: dict[str, str] = {}
    fallen: dict[str, list[float]] = {}
    again_s: list[float] = []
    found: list[dict[str, Any]] = []
    lapsed, waiting, act_s = 0, False, None
    unclear = dict.fromkeys(("unsure", "not_understood", "spoken_over"), 0)
    for line in lines:
        fact, cause = line["fact"], line["cause"] or {}
        kind, item = fact["type"], fact.get("item", "")
        now_s = (line["at"]["mono_us"] - lines[0]["at"]["mono_us"]) / 1e6
        text = cause.get("text", "")
        refused = kind == "Refused" and fact["why"] in ("outstanding", "standing_by", "unsettled")
        asked = kind in ("Proposed", "Noted") or (refused and "withdraw" not in text)
        if asked and kinds.get(item) == "act":
            became = {"Refused": "refused", "Noted": "noted outside the course"}
            gone = [each for each in before if each not in stands]
            found.append(
                {
                    "at": now_s,
                    "item": item,
                    "became": became.get(kind, "waits for confirm"),
                    "missing": len(fact.get("outstanding") or gone),
                    "criteria": sum(kinds[each] == "criterion" for each in stands),
                }
            )
            waiting = kind == "Proposed"
        elif waiting and kind in _ENDS_READ_BACK:
            done = kind == "Stated" and item == found[-1]["item"]
            found[-1]["became"] = "recorded" if done else "not recorded"
            waiting = False
        if kind == "Stated" and kinds[item] == "act" and act_s is None:
            act_s = now_s
        for each in [*fact.get("lapsed", []), *([item] if kind == "Withdrawn" else [])]:
            stands.discard(each)
            answers.pop(each, None)
        for each in fact.get("lapsed", []):
            lapsed += 1
            fallen.setdefault(each, []).append(now_s)
        if kind == "Stated":
            if (item, fact["answer"]) in good:
                again_s += [now_s - then_s for then_s in fallen.pop(item, [])]
                stands.add(item)
            elif answers.get(item) != fact["answer"]:
                stands.discard(item)
            answers[item] = fact["answer"]
        if cause.get("type") == "Heard" and kind == "NotUnderstood":
            unclear[fact["why"]] = unclear.get(fact["why"], 0) + 1
    first = found[0] if found else None
    return {
        "calls": len(found),
        "calls_refused": sum(each["became"] == "refused" for each in found),
        "first_call_s": first and first["at"],
        "first_call": first and first["item"],
        "first_call_became": first and first["became"],
        "first_call_missing": first and first["missing"],
        "first_call_criteria": first and first["criteria"],
        "called_for_s": act_s - first["at"] if first and act_s is not None else None,
        "lapsed": lapsed,
        "restored": len(again_s),
        "restored_s": median(again_s) if again_s else None,
        **{name: unclear[name] for name in ("unsure", "not_understood", "spoken_over")},
    }


_ENDS_READ_BACK = (
    *("Stated", "Retracted", "Lapsed", "Expired", "Withdrawn", "PauseBegun", "Occurred"),
    *("HelpCalled", "BailedOut", "Overridden", "StoodBy", "Reopened", "CloseProposed", "Proposed"),
)
"""The facts that leave no read-back of an earlier line open; a caution may leave it."""
