"""Small words of sentences by what they do there, of all languages together."""

import msgspec

from squibwise.errors import CatalogError


class SmallWords(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``small.toml``: words of sentences by what they do there, of all languages together.

    Attributes:
        only: What they stand before is all that is left.
        lacks: They say that something is not there.
        any: They ask for something where nobody writes the sign of a question.
        all: They speak of everything that was named.
        before: Labels of what was there before a repair, beside one of ``after``.
        after: Labels of what was there after it.
        reads: They name a reading of the codes, which a rank may follow.
        ranks: Words for the first of two readings, and for the second.
        searches: What a reading needs, and loses when it breaks off.
        broken_off: They say of a reading that it did not come to its end.
        previous: They say of a reading that it was made before.
        is_was: Two verbs that are the whole of a cell: a fault is there, or was.
        status_labels: Labels of a byte that says how a fault stands.
        type_labels: Labels of a byte that says what kind of failure it is.
        dittos: Short for what stands above, with their points.
        inverts: Verbs that begin a question, with an article behind them.
        finding: They say that something showed, or name where it would; denied, it did not.
        denies: Adverbs that deny a whole sentence; none that denies one thing, as ``no`` does.
        ellipses: Alone they deny of one code what was said of another.
        auxiliaries: Verbs that may stand beside them.
        affirms: They say yes of one thing against another: "the right one does".
        no_longer: Two words, one behind the other, that say that something is over.
        counters: Before a number they say how often a fault came.
        openers: They begin what is said in a talk, and call nothing good.
        accented: How words are written that stand here without their accents.
        and_: They join, whatever the language.
        and_in: They join in one language, and are other words in others.
        or_: They join what excludes one another.
        or_in: They do so in one language.
        then: They join what follows in time.
        but: They begin a clause that goes against the one before it.
        as_: They lead to what something is compared with.
        storing: Stems of words that say of a record of a crash that it is there.
        without: Behind a fault they tell under what it was measured.
        together: Before the others they tell how something went, and not of what.
        neither: They say that what was denied of one part holds for another.
        but_in: They do so in one language.
        instead: They lead to what something is not.
        except_: They take something out of what stands before them.
        joined_sides: Left and right as a sign joins them: ``L+R``.
        around: Two words around what is taken out of all, and one that says so alone.
        everything: They name all there is.
        rest: They name all that was not named.
        affirming: They may stand beside a clean result and leave it standing.
        inside: They lead to a place that holds something.
        has: They say that something holds something.
        at: They lead to a vehicle that has a fault, as they do to other places.
        others: Before the name of a vehicle they say that it is another one.
        my: They say whose a car is: his who speaks.
        ours: Labels of one's own car.
        vehicles: Names of kinds of vehicles.
        tellers: Who says what nobody has read, besides kin.
        media: Where such things are said.
        says: Verbs for saying and thinking that lead to it.
        thinks: Verbs for what somebody only supposes, whoever that is.
        according: They lead to who says it.
        heard: They say alone that something is only heard.
        guesses: Labels of what is only supposed.
        musts: Verbs that say what ought to be, or is supposed to.
        nothing_else: Two words, one behind the other, that deny what was not told.
        otherwise: With a clean result they speak of what was not told.
        never: They say that it was at no time.
        by_turns: Two phrases that say, with a denial beside one, that a fault comes and goes.
        again: What may stand beside a word of praise that ends a fault: "ok again now".
        by_eye: They say that somebody looked, and measured nothing.
        obtained: They head a list of parts that were bought or sent back, or are to be.
        pointers: They speak of the car that was named right before.
        usual: They say what a code means in general.
        at_first: They say how things were before something was done.
        trade: They offer a part, or look for one.
        days: They say when something was read.
        past_days: Days that are over.
        since: They say from when on.
        because: They lead to why something was done.
        right: What somebody is who was not wrong.
        unbroken: Of a tested circuit they say that it is not open.
        sellers: Who says what a car is like, where it says according to whom.
        mending: Beginnings of verbs that end a fault.
        due: In front of such a verb they make it one of the future, or a rumour.
        due_behind: Behind such a verb they do the same.
        managed: They say that what could be done was done.
        comes_back: They say, behind work, that the fault is there all the same.
        few: They say how many.
        perhaps: They make a statement a guess.
        clears: They say, behind work, that nothing is stored any more.
        yet: With a denial they say that what is there was not found so far.
        earlier: They say that a denial is of the time before.
        pluperfect: They say that something had been so.
        noticed: What somebody may have missed before.
        lists: What somebody told faults in before.
        firsts: Which of those.
        looks: They praise what somebody saw of a part.
        returns: They say of a code that was gone that it came back.
        descriptions: What a code may lack and be there all the same.
        beside: What a clause behind a fault denies without denying the fault.
        blamed: What was suspected of a fault: "it wasn't the plug" leaves the fault where it is.
        hand: Words that say alone that the driver sits on the left, and on the right.
        wheel: They lead to the side on which the wheel is.
        wheel_label: Words for the wheel that do so as a label.
        wheel_side: Words for the left and the right behind one of them.
        hand_beside: How a word begins that may stand behind it.
        hand_not: In front of it they deny or ask it.
        hand_elsewhere: They make it that of another car.
        dating: Before a word for a crash they make it a day, and no record.
        bodies: Names of shapes of cars, or how they begin.
        colours: How colours begin: beside a body they name a car.
        shades: They stand before colours, and alone are none.
        colour_ends: What a colour may have behind its beginning.
        ones: They stand for a car behind its colour.
        ages: Words that may stand before either.
        listing: They join numbers of a list.
        leads: They lead up to a code, and name no thing whose number it is.
        between_counts: They stand between the counts of a lamp: a pause, how often, ``code``.
        lamp_says: Verbs between a lamp and the number that it blinked.
        counts: How words begin that say of a lamp that its blinks were counted.
        computers: Behind a part of the car they name the unit for it.
        unsorted: Headings of what stands below no side: ``other``, ``general``.
        rooms: Places in a car by which the restraint unit's faults may be sorted.
        state_labels: Labels behind which a state stands, and no name.
        numbered_labels: Labels of a number, behind which no words stand.
        number_words: Words of a day, a time or a unit, that belong to a number.
        days_of_the_car: Labels of a day that is the car's, and not that of a reading.
        papers: What is written on, whose damage is none of a part.
        adverb_ends: How adverbs end, which change nothing of what a sentence says.
        doubting: Adverbs that deny, doubt or date what it says.
    """

    only: frozenset[str]
    lacks: frozenset[str]
    any: frozenset[str]
    all: frozenset[str]
    before: frozenset[str]
    after: frozenset[str]
    reads: frozenset[str]
    ranks: tuple[tuple[str, ...], tuple[str, ...]]
    searches: frozenset[str]
    broken_off: frozenset[str]
    previous: frozenset[str]
    is_was: tuple[tuple[str, str], ...]
    status_labels: tuple[str, ...]
    type_labels: tuple[str, ...]
    dittos: tuple[str, ...]
    inverts: frozenset[str]
    finding: frozenset[str]
    denies: frozenset[str]
    ellipses: frozenset[str]
    auxiliaries: frozenset[str]
    affirms: frozenset[str]
    no_longer: tuple[tuple[str, str], ...]
    counters: frozenset[str]
    openers: frozenset[str]
    accented: dict[str, str]
    and_: frozenset[str] = msgspec.field(name="and")
    and_in: dict[str, frozenset[str]]
    or_: frozenset[str] = msgspec.field(name="or")
    or_in: dict[str, frozenset[str]]
    then: frozenset[str]
    but: frozenset[str]
    as_: frozenset[str] = msgspec.field(name="as")
    storing: frozenset[str]
    without: frozenset[str]
    together: frozenset[str]
    neither: frozenset[str]
    but_in: dict[str, frozenset[str]]
    instead: frozenset[str]
    except_: frozenset[str] = msgspec.field(name="except")
    joined_sides: tuple[tuple[str, str], ...]
    around: tuple[str, str, str]
    everything: frozenset[str]
    rest: frozenset[str]
    affirming: frozenset[str]
    inside: frozenset[str]
    has: frozenset[str]
    at: frozenset[str]
    others: frozenset[str]
    my: frozenset[str]
    ours: frozenset[str]
    vehicles: frozenset[str]
    tellers: frozenset[str]
    media: frozenset[str]
    says: frozenset[str]
    thinks: frozenset[str]
    according: frozenset[str]
    heard: frozenset[str]
    guesses: frozenset[str]
    musts: frozenset[str]
    nothing_else: tuple[tuple[str, str], ...]
    otherwise: frozenset[str]
    never: frozenset[str]
    by_turns: tuple[tuple[str, str], ...]
    again: frozenset[str]
    by_eye: frozenset[str]
    obtained: frozenset[str]
    pointers: frozenset[str]
    usual: frozenset[str]
    at_first: frozenset[str]
    trade: frozenset[str]
    days: frozenset[str]
    past_days: frozenset[str]
    since: frozenset[str]
    because: frozenset[str]
    right: frozenset[str]
    unbroken: frozenset[str]
    sellers: frozenset[str]
    mending: frozenset[str]
    due: frozenset[str]
    due_behind: frozenset[str]
    managed: frozenset[str]
    comes_back: frozenset[str]
    few: frozenset[str]
    perhaps: frozenset[str]
    clears: frozenset[str]
    yet: frozenset[str]
    earlier: frozenset[str]
    pluperfect: frozenset[str]
    noticed: frozenset[str]
    lists: frozenset[str]
    firsts: frozenset[str]
    looks: frozenset[str]
    returns: frozenset[str]
    descriptions: frozenset[str]
    beside: frozenset[str]
    blamed: frozenset[str]
    hand: tuple[tuple[str, ...], tuple[str, ...]]
    wheel: frozenset[str]
    wheel_label: frozenset[str]
    wheel_side: tuple[tuple[str, ...], tuple[str, ...]]
    hand_beside: tuple[str, ...]
    hand_not: frozenset[str]
    hand_elsewhere: frozenset[str]
    dating: frozenset[str]
    bodies: frozenset[str]
    colours: frozenset[str]
    ages: frozenset[str]
    ones: frozenset[str]
    colour_ends: frozenset[str]
    shades: frozenset[str]
    listing: frozenset[str]
    leads: frozenset[str]
    between_counts: frozenset[str]
    lamp_says: tuple[str, ...]
    counts: frozenset[str]
    computers: frozenset[str]
    unsorted: frozenset[str]
    rooms: frozenset[str]
    state_labels: frozenset[str]
    numbered_labels: frozenset[str]
    number_words: frozenset[str]
    days_of_the_car: frozenset[str]
    papers: frozenset[str]
    adverb_ends: tuple[str, ...]
    doubting: frozenset[str]

    def __post_init__(self) -> None:
        fields = (getattr(self, n) for n in self.__struct_fields__ if n != "accented")
        lists = (v for f in fields for v in (f.values() if isinstance(f, dict) else [f]))
        told = [each for words in lists for each in words]
        words = {w for each in told for w in ([each] if isinstance(each, str) else each)}
        if strange := sorted(w for w in words if not (w.isascii() and w.islower())):
            raise CatalogError(f"write {', '.join(strange)} in small letters, without accents")
        each_word = {part for word in words for part in word.split()}
        if idle := sorted(self.accented.keys() - each_word):
            raise CatalogError(f"accented: no small word holds {', '.join(idle)}")

    @property
    def any_and(self) -> frozenset[str]:
        """What joins in some language."""
        return self.and_.union(*self.and_in.values())

    @property
    def any_or(self) -> frozenset[str]:
        """What joins in some language what excludes one another."""
        return self.or_.union(*self.or_in.values())
