"""Every tuned number that decides what is heard, accepted or rejected, and the check on them.

Each number gives its unit and, in brackets, its origin:

- [notebook N]: chosen on development voices; see section N of model/NOTEBOOK.md
- [development]: chosen on development voices; the figures were not kept
- [Kaldi]: Kaldi's default, from memory (online2/online-endpoint.h)
- [practice]: chosen by ear or common practice; no source

The operating points are not here. They belong to the procedure (grammars/_common.toml,
`[listening]`; notebook 8), so every log holds its own. `check` compares them with these numbers.

After a change, measure again (`acoustic.evaluate`, `acoustic.stream`). If the number stands above
`WEIGHTS`, calibrate first (`acoustic.calibrate`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicecheck.core.procedure import ProcedureError

if TYPE_CHECKING:
    from voicecheck.core.procedure import Listening

# ---------------------------------------------------------------- pronunciations and decoding graph

MOST_PRONUNCIATIONS = 8
"""For each word, accents included. More cost time and bring words closer together. [practice]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Costs:
    """What the decoding graph charges, in nats of log-likelihood (graph.py)."""

    unknown: float = 13.0
    """For each stretch of other speech, when it begins. [development]"""
    gone_on: float = 2.0
    """The same after a whole phrase. It is lower because many sentences begin with a phrase.
    [development]"""
    broken_off: float = 16.0
    """For ending inside a phrase. Without it, a short last word that nobody said costs less than
    other speech, and near misses pass for phrases. [notebook 3]"""
    unknown_end: float = 4.0
    """For ending in other speech. It lies between the relative costs of endpoint rules 2 and 3, so
    Vosk then waits longer, by rule 3. [development]"""
    unknown_phone: float = 5.5
    """For each phone of other speech. A lower cost rejects more, also of what is said in babble.
    [notebook 3]"""
    blank: float = 1.5
    """For each 30 ms of blank. CTC says blank where it is unsure, so without this cost less is
    heard in babble. A higher cost turns noise into words. [notebook 13]"""
    blank_within: float = 0.3
    """Added for blank inside a word. Otherwise the decoder waits for ever for a swallowed last
    sound, and two phrases become one utterance. [development]"""
    variant: float = 0.3
    """For any pronunciation but the usual one. [practice]"""
    lone: float = 8.0
    """For a phrase of one word, because much other speech resembles a short word. [development]"""
    other_wording: float = 8.0
    """For other wordings than the phrases. [notebook 13]"""
    unaddressed: float = 8.0
    """The same without the address word. [development]"""
    language: float = 0.7
    """Factor on the costs of the bigram model (language.py). [notebook 13]"""
    reply: float = 3.0
    """For a reply in other words than the phrases. [development]"""
    reply_pair: float = 0.5
    """For each further word of it. [development]"""
    courtesy: float = 5.0
    """For "please" and the like beside a phrase or a reply. [development]"""
    address_alone: float = 9.0
    """For ending after the address word; more than the relative cost of endpoint rule 3, so Vosk
    waits by rule 4. [practice]"""
    address_again: float = 4.0
    """For the address word after other words. [practice]"""
    word_end: float = 4.0
    """For ending after a word that may end a sentence. As `unknown_end`. [practice]"""
    word_no_end: float = 9.0
    """For ending after any other word. [practice]"""
    most_variants: int = 3
    """Pronunciations of a word in other wordings. [practice]"""


PAIRS_SHARE = 0.7
"""The probability that a word which no sentence has is followed as in some pattern. [practice]"""
UNSEEN_COUNT = 0.5
"""Added to how often the sentences have a word, because they lack many. [practice]"""

# ------------------------------------------------------------------------------------- Vosk decodes

ACOUSTIC_SCALE = 1.3
"""Factor on the network's log-likelihoods, against `Costs`. At 1 more noise becomes phrases; at 1.6
less speech is found in loud babble. [notebook 4]"""
N_BEST = 40
"""Alternatives that Vosk returns. The posterior of a phrase is its share of them. [practice]"""
STRAY = 8.0
"""Nats that each word beside the meaning costs an alternative. [development]"""
BEAM = 20
"""Nats. It is wide, because the graph is small and the N-best list must be whole. Twice as wide was
slower and heard no more. [development]"""
LATTICE_BEAM = 8
"""Nats. The N-best list holds nothing that is further behind. [practice]"""
MIN_ACTIVE = 20
"""States kept in each frame, at least; 200 heard no more. [development]"""
MAX_ACTIVE = 1_500
"""States kept in each frame, at most; the shipped graph has fewer. [practice]"""
FRAMES_PER_CHUNK = 12
"""Input frames (10 ms) computed at once. Fewer mean earlier decisions and more work. [practice]"""

# ------------------------------------------------------------------------------------- endpointing
# Vosk's rules: 1 nothing said, 2 a whole phrase, 3 other speech, 4 a phrase broken off, 5 too long.
# A relative cost, in nats, is how much worse the best path that may end here is than the best path.

RULE1_SILENCE_S = 3
"""Silence whatever was said; more than `RULE4_SILENCE_S`, or that would never apply. [practice]"""
RULE2_SILENCE_S, RULE2_RELATIVE_COST = 0.14, 3
"""Silence after a whole phrase; less takes a phrase that goes on for its beginning. [notebook 7;
cost: practice]"""
RULE3_SILENCE_S, RULE3_RELATIVE_COST = 0.4, 8
"""Silence after other speech. [practice; cost: Kaldi]"""
RULE4_SILENCE_S = 2.6
"""Silence inside a phrase, or after the address word alone. [practice]"""
RULE5_UTTERANCE_S = 10
"""The longest utterance. [practice]"""
LONGEST_UTTERANCE_S = 12
"""The same whatever Vosk does: noise cannot hold an utterance open. [practice]"""

PIECE_S = 0.02
"""The level is measured, and the end looked for, in pieces of this length. [practice]"""
FALL_DB = 20.0
"""Sound this far below the loudest is quiet: weaker than most word endings, above most rooms.
[practice]"""
FADE_DB_S = 6.0
"""The loudest level fades at this rate. Otherwise a slammed door would make all speech quiet.
[practice]"""
QUIET_S = 0.2
"""Quiet that ends a whole phrase. The closure of a stop inside a word is shorter. [notebook 7]"""
OTHER_QUIET_S = 0.4
"""The same for what is said in other words than a phrase: they may go on. [practice]"""
LONG_QUIET_S = 1.0
"""After this much quiet the level ends nothing: Vosk's rules have, or no phrase was said.
[practice]"""

# ----------------------------------------------------------- goodness of pronunciation, confidence

ROUGHLY_S = 0.15
"""How late Vosk may say that a word began: what begins so shortly after a new beginning is taken
from the stretch before it. [practice]"""
CONTEXT_S = 1.0
"""Sound before a phrase that the network sees: at least its left context (topology.py).
[practice]"""
AROUND_S = 0.12
"""Added on either side of a phrase before alignment, because Vosk's times are rough. [practice]"""
BEFORE_S = 0.3
"""Speech is looked for in this stretch just before. [notebook 5]"""
MOST_BEFORE = 1.5
"""Frames (30 ms) of speech before; more do not count. Speech before alone never rejects a phrase
that fits well. [notebook 5]"""
ALIGNMENT_BLANK_COST = 1.0
"""Nats for each frame of blank in forced alignment. It is less than `Costs.blank`: at 2 and 3 more
is lost of voices unlike the training voices. [notebook 5]"""
DEAD_ZONE, DEAD_ZONE_WORST_WORD = 0.3, 2.0
"""Nats a phone that any voice loses, for the whole phrase and the worst word. A loss up to this
does not count. [notebook 5]"""
NO_FIT = -30.0
"""Nats a phone: the goodness of what cannot be aligned, far below that of any phrase. [practice]"""
LEAST_POSTERIOR = 0.001
"""A posterior is kept this far from 0 and 1, where its log-odds are infinite. [practice]"""
WEIGHTS = (3.12, 0.43, 3.99, 1.03, -2.99)
"""Log-odds that a phrase was said: a constant, then for each log-odd of the posterior, each nat of
the whole and of the worst word, and each frame of speech before (confidence.py). [notebook 5]"""

UNSAID_COUNTS = 5.0
"""In calibration, a phrase found where nobody spoke to the machine counts this many times: it is
worse than a command said again. A near miss counts once, because whoever said it hears the answer
and can withdraw. [notebook 5]"""
RIDGE = 0.001
"""In calibration, the L2 penalty on the weights. [practice]"""

# -------------------------------------------------------------------------------------- second pass

CERTAIN = 0.95
"""From this confidence on, the second network is not asked. It takes three times as long as the
alignment. [notebook 6]"""
START_BEFORE_S = 0.5
"""Its sound starts this long before the phrase, so that it hears the room first. [notebook 6]"""
STARTS_LATER_S = (0.0, 0.01, 0.02)
"""It is asked once for each start. Its frames are 30 ms apart, so each time they fall elsewhere.
[notebook 6]"""
FOUND = 0.1
"""A posterior from this on counts as found. [notebook 6]"""
CLEARLY = 0.5
"""A posterior from this on counts as found clearly. [notebook 6]"""
MISSED_FACTOR = 0.5
"""Factor on the confidence of a phrase that it mostly did not find. The result must be below
`least_confidence`. [notebook 6]"""
NOT_CLEAR_AT_MOST = 0.75
"""Cap on the confidence of a phrase that it did not find clearly each time: enough for a harmless
phrase, too little for a critical one or a confirm. [notebook 6]"""


def check(listening: Listening) -> None:
    """Compare a procedure's operating points with the second pass.

    Raises ProcedureError with a sentence for each that would accept what the second pass rejects,
    or reject what it lets through.
    """
    cap, missed = NOT_CLEAR_AT_MOST, CERTAIN * MISSED_FACTOR
    found = []
    if listening.least_confidence <= missed:
        found.append(
            f"least_confidence is {listening.least_confidence:g}, but a phrase that the second "
            f"network misses can still reach {missed:g}: raise it above that"
        )
    if listening.least_confidence > cap:
        found.append(
            f"least_confidence is {listening.least_confidence:g}, but a phrase that the second "
            f"network does not find clearly gets {cap:g} at most, which should be enough for a "
            f"harmless one: lower it to {cap:g} or less"
        )
    found += [
        f"{name} is {least:g}, but a phrase that the second network does not find clearly can "
        f"reach {cap:g}, which must not be enough here: raise it above that"
        for name in ("least_confidence_critical", "least_confidence_confirm")
        if (least := getattr(listening, name)) <= cap
    ]
    if found:
        raise ProcedureError("The [listening] table", found)
