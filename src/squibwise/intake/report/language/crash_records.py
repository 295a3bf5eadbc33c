"""What is said of a crash record: that there is one, that there is none, or neither."""

from squibwise.catalog.vocabulary import VOICES
from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.lexicon import BASE, Lexicon, Token
from squibwise.intake.report.language.phrases import Hit
from squibwise.intake.report.language.words import FAULTS, HEADS, Words

_RECORD = frozenset({"crashrecord"})
_UNREAD = frozenset({"status:not-tested", "status:pending", "communication"})
_ALONE = {"c": {"lacking:locked"}, "w": {"status:cleared"}, "a": {"gone", "empty"}}
_TOLD = {
    "r": _RECORD,
    "s": {"exists", "status:stored", "status:present", "status:intermittent"},
    "!": _UNREAD,
    "f": FAULTS,
    "k": {"skip"},
    "?": VOICES - {"asked", "not"},
}  # by the letter for a word: what it means alone, or in its phrase
_PLACES = ("side:", "seat:", "end:")
_ENDING, _WHOLE = 3, 5  # letters behind a stem, and of a word that is none
_NONE = pattern(
    r"n[k-]*r*[rkl-]*s|n[k-]*r[rkl-]*(?: |$)|[rs][rkl-]* ?n(?: |$)|"
    r"[rs][rkl-]{0,2} ?a|a[k-]{0,2}r|[rs] ?c(?: |$)|^[^s]*r[rkl-]* ?p|z"
)
_STORED = pattern(r"(?:^| )[^ n]*s")
_UNSAID = pattern(r"n(?![k-]*[cw])|rk*[?f]")  # "would not open", "crash memory skipped"
_UNKNOWN = pattern(  # "crash data: n/a", "locked, cannot be read", "no crash data read"
    r"[rsl] [?k!]+(?: |$)|[l-] [k-]*!|![^ ]*r|r[^ ]*!"
)


def settle_record(
    words: Words,
    hits: tuple[Hit, ...],
    tokens: tuple[Token, ...],
    lexicon: Lexicon,
    language: str | None,
) -> None:
    """Deny a record only by a denial of storing; tell none from words that nobody knows.

    ``crash data not stored`` and ``no crash record`` deny it; ``not opened``, ``unknown`` and
    ``locked, cannot be read`` tell nothing.
    """
    told = _sketch(hits, tokens, lexicon, [n for n in (language, *BASE) if n])
    faults = words.features & FAULTS
    others = [h for h in hits if (faults - _RECORD - _UNREAD) & {*h.means}]
    is_alone = faults == _RECORD or words.features & HEADS == _RECORD
    if _NONE.search(told):
        words.voices.add("not")
    elif not is_alone or any(tokens[h.first].apart for h in others):
        return  # another fault stands beside it
    elif _UNKNOWN.search(told) or (_UNSAID.search(told) and not _STORED.search(told)):
        words.features -= FAULTS  # nobody knows whether there is one
        words.voices, words.statuses = set(), []
    elif "n" in told:
        words.voices -= {"not", "gone"}


def _sketch(
    hits: tuple[Hit, ...], tokens: tuple[Token, ...], lexicon: Lexicon, names: list[str]
) -> str:
    """A letter for each word, a blank before one that stands apart.

    Of a ``r``ecord, ``s``toring, ``c``lear, ``w``iped, ``l``ocked; ``n``ot, ``a``bsent, ``p``ast,
    ``z``ero, ``!`` not tried, a ``f``ault; ``k``nown, ``-`` small, ``?`` strange.
    """
    phrases = {at: h for h in hits for at in range(h.first, h.last)}
    told = ""
    for at, token in enumerate(tokens):
        hit = phrases.get(at)
        is_place = any(m.startswith(_PLACES) for m in lexicon.first_meanings(token.text))
        is_place = is_place and token.text not in lexicon.denying
        kind = _kind(token.text, hit, tokens, lexicon) if hit else "-" if is_place else "?"
        if _tells_storing(token.text, lexicon) and kind not in "pl":
            kind = "s"
        is_small = token.text[0].isdecimal() or not token.text.isascii()  # another script's
        is_small = is_small or lexicon.is_told(token.text, "plain", names)
        follower = tokens[at + 1].text if at + 1 < len(tokens) else ""
        if token.apart and token.text == "0" and follower != "x":  # "0x08" counts nothing
            kind = "z"
        is_apart = token.apart or token.text in lexicon.small.but
        is_small = is_small and token.text not in lexicon.denying
        told += " " * is_apart + ("-" if kind in "?k" and is_small else kind)
    return told


def _kind(word: str, hit: Hit, tokens: tuple[Token, ...], lexicon: Lexicon) -> str:
    means = {*hit.means}
    texts = {t.text for t in tokens[hit.first : hit.last]}
    is_denial = not texts.isdisjoint(lexicon.denying)
    if "status:locked" in means and not means & _RECORD:
        return "l"
    if is_denial and "status:stored" in means:
        return "p"
    if word in lexicon.denying and ("not" in means or not means & _RECORD):
        return "n"
    if "gone" in means and "sure" not in means and hit.last - hit.first > 1:
        is_over = any({*pair} <= texts for pair in lexicon.small.no_longer)
        return ("-" if is_over and len(texts) == 2 else "s") if is_denial else "a"
    if word in lexicon.small.clears:
        return "a"
    alone = lexicon.first_meanings(word)
    found = [letter for letter, told in _ALONE.items() if alone & told]
    found += [letter for letter, told in _TOLD.items() if means & told]
    return found[0] if found else "-"


def _tells_storing(word: str, lexicon: Lexicon) -> bool:
    """``gespeichert``, ``registrados``: a stem and an ending; a short word stands as it is."""
    stems = lexicon.small.storing
    ends = range(len(word), max(len(word) - _ENDING, _WHOLE) - 1, -1)
    return word in stems or any(word[:end] in stems for end in ends)
