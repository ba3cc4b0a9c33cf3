"""A synthesiser's phonemes -> the 39 phones: labels of what was really said."""

from __future__ import annotations

# The alphabet of misaki, the grapheme-to-phoneme rules of the Kokoro voices (Apache-2.0). One
# character is one sound there; A I O Q W Y are diphthongs. "əɹ" and "ɜ" are one phone in CMUdict.
_MISAKI_PAIRS = {"əɹ": "ER", "ɜɹ": "ER", "ɜː": "ER", "ᵊɹ": "ER", "ɚɹ": "ER"}
_MISAKI = (
    "A EY|I AY|O OW|Q OW|W AW|Y OY|ᵊ AH|æ AE|a AE|ɑ AA|ɒ AA|ə AH|ɐ AH|ɛ EH|e EH|ɜ ER|ɚ ER|ɪ IH|"
    "ᵻ IH|i IY|u UW|ʊ UH|ʌ AH|ɔ AO|o OW|b B|d D|f F|h HH|j Y|k K|l L|m M|n N|p P|s S|t T|v V|w W|"
    "z Z|ɡ G|g G|ŋ NG|ɹ R|r R|ʃ SH|ʒ ZH|ð DH|θ TH|ʤ JH|ʧ CH|ɾ T|T T|ʔ T|x K"
)
_PHONE_OF_MISAKI = dict(pair.split() for pair in _MISAKI.split("|"))


def from_misaki(phonemes: str) -> list[str]:
    """Translate a misaki string, without stress, length and punctuation."""
    phones: list[str] = []
    place = 0
    while place < len(phonemes):
        pair = phonemes[place : place + 2]
        if pair in _MISAKI_PAIRS:
            phones.append(_MISAKI_PAIRS[pair])
            place += 2
            continue
        if phonemes[place] in _PHONE_OF_MISAKI:
            phones.append(_PHONE_OF_MISAKI[phonemes[place]])
        place += 1
    return phones


_ESPEAK_PAIRS = (
    "eɪ A|aɪ I|ɑɪ I|ʌɪ I|ɔɪ Y|aʊ W|ʌʊ W|ʌu W|ʌʉ W|əɪ ɜ|oʊ O|əʊ O|əʉ O|oːɹ ɔɹ|oː O|or ɔɹ|tʃ ʧ|"
    "dʒ ʤ|ɜːɹ ɜ|ɜː ɜ|ɚɹ ɚ|l̩ əl|n̩ ən|m̩ əm|ʍ w|ʉ u|ɫ l|r ɹ|ɵ ʊ|y u"
)
_MISAKI_OF_ESPEAK = [pair.split() for pair in _ESPEAK_PAIRS.split("|")]
_SILENT = set("ˈˌː ̃_|.,;:!?-\n‍")


def from_espeak(ipa: str) -> list[str] | None:
    """Translate espeak-ng's English IPA; None if it holds a sound that English lacks."""
    for sound, character in _MISAKI_OF_ESPEAK:
        ipa = ipa.replace(sound, character)
    if set(ipa) - set(_PHONE_OF_MISAKI) - _SILENT:
        return None
    return from_misaki(ipa)
