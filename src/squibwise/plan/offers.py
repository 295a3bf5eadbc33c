"""Which offer fits which need, and whether it may be bought here."""

from collections.abc import Iterable, Mapping, Sequence

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.market import UsedPolicy
from squibwise.model.case import Case
from squibwise.model.evidence import PartLabel
from squibwise.model.market import (
    BACK_STATES,
    HERE_STATES,
    KEPT_STATES,
    PAID_STATES,
    POLICIES,
    JudgedOffer,
    Need,
    Offer,
    Policy,
)
from squibwise.model.names import side_of, split_component
from squibwise.model.origin import Finding
from squibwise.model.work import Operation, Order, Work
from squibwise.plan.offer_doubts import (
    bare_number,
    cite,
    compare_answer,
    is_dear,
    is_suspect,
    missing_papers,
    tell_mismatch,
    tell_not_compared,
    tell_other_answer,
    tell_refused,
    tell_taken_for_all,
    tell_too_cheap,
    tell_too_dear,
    tell_too_few,
    tell_unknown_prices,
)
from squibwise.plan.offer_names import (
    Cover,
    Names,
    assembly_of,
    count_pieces,
    cover_pieces,
    fits_nothing,
    list_places,
    match_need,
    name_needs,
    tell_sold,
)

EVERYWHERE = "everywhere"


def list_needs(work: Work) -> tuple[Need, ...]:
    """Return what has to be bought, or may have to be.

    Left out: what is done, body work, and what only an answer of the maker decides.
    """
    return tuple(n for n in _list_open(work) if not n.asks_maker)


def list_asked(work: Work) -> tuple[Need, ...]:
    """Return what only an answer of the maker decides."""
    return tuple(n for n in _list_open(work) if n.asks_maker)


def list_fitted(work: Work) -> tuple[Need, ...]:
    """Return what of the order list is on the car already."""
    return tuple(_need(o) for o in work.orders if o.done and not o.body_work)


def _list_open(work: Work) -> Iterable[Need]:
    return (_need(o) for o in work.orders if not (o.done or o.body_work))


def fits(operation: Operation, need: Need) -> bool:
    """Is this the operation that fits what is needed."""
    assembly = assembly_of(need.key)
    same = operation.assembly == assembly and operation.action == "fit"
    return same and bool(set(operation.components) & set(need.contains))


def list_later(
    needs: Sequence[Need], judged: Sequence[JudgedOffer], work: Work
) -> tuple[Need, ...]:
    """Return what is too unlikely to be fitted on any day yet, where no look of a day settles it.

    What was ordered already stays in the plan.
    """
    kept = {j.need for j in judged if j.counts and j.offer.state in PAID_STATES}
    operations = [o for o in work.operations if not o.done]
    return tuple(
        need
        for need in needs
        if need.chance < 1.0
        and not need.asks_maker
        and need.key not in kept
        and not any(fits(o, need) for o in operations)
        and not find_look(need, operations)
    )


def find_look(need: Need, operations: Iterable[Operation]) -> str:
    """Return the operation that looks at what a need is about, by itself or with its area."""
    looks = [o for o in operations if o.action == "look"]
    mine = [o for o in looks if set(o.components) & set(need.contains)]
    mine = mine or [o for o in looks if set(o.sees) & set(need.contains)]
    return mine[0].id if mine else ""


def _need(order: Order) -> Need:
    return Need(
        key=order.key,
        title=order.title,
        contains=order.contains,
        quantity=order.quantity,
        chance=1.0 if order.done or order.kind in ("certain", "rule") else order.p,
        live=order.live,
        usual_low=order.price.low if order.price else None,
        usual_high=order.price.high if order.price else None,
        settled_by=order.settled_by,
        asks_maker=order.kind == "ask" and not order.done,
        question=order.question,
        fitted=order.done,
    )


def judge_offers(
    offers: Sequence[Offer], wanted: Sequence[Need], case: Case, catalog: Catalog
) -> tuple[tuple[JudgedOffer, ...], tuple[Finding, ...]]:
    """Return each offer with the need it fits and whether it may be bought, and what is doubtful.

    The strictest rule that applies to the place, the maker's kind of rules and the part decides.
    """
    judged: list[JudgedOffer] = []
    findings: list[Finding] = []
    names = name_needs(wanted, case, catalog)
    given = [_with_label(o, wanted, case) for o in offers if not _is_never_bought(o)]
    matched = {o.id: (o, *match_need(o, names)) for o in given}
    covers = _cover(matched, wanted, names, case, catalog)
    rivals = _group_rivals(matched)
    for offer, need, doubt in matched.values():
        cover = covers.get(offer.id)
        meant = cover.need if cover is not None else need
        is_kept = offer.state in PAID_STATES
        if meant is None and is_kept and (sold := _is_ours(offer, names, case, catalog)):
            judged.append(_judge_needless(offer))
            findings += doubt if sold & {assembly_of(n.key) for n in wanted} else []
        elif meant is None or (meant.fitted and not is_kept):
            findings += doubt or [fits_nothing(offer)]
        elif offer.state in BACK_STATES:
            judged.append(_judge_spent(_owe(offer, meant, names, case), meant, offer.state))
        else:
            one, told = _weigh(offer, meant, rivals, names, case, catalog)
            judged += _with_rest(one, meant, cover)
            findings += [*(doubt if need is not None else ()), *told]
            findings += (
                [tell_taken_for_all(offer, meant)] if _is_for_all(offer, meant, cover) else []
            )
    return tuple(judged), (*findings, *tell_unknown_prices(judged, wanted))


def _cover(
    matched: Mapping[str, tuple[Offer, Need | None, list[Finding]]],
    wanted: Sequence[Need],
    names: Names,
    case: Case,
    catalog: Catalog,
) -> dict[str, Cover]:
    """Return which pieces each offer covers: what is not to be fitted takes no other's place."""
    by_name = {i: (o, n) for i, (o, n, _) in matched.items() if o.state not in BACK_STATES}
    covers = cover_pieces(by_name, wanted, names, case, catalog)
    unfit, rivals = set(), _group_rivals(matched)
    for word, (offer, need) in by_name.items():
        meant = covers[word].need if word in covers else need
        if meant is not None and offer.state in KEPT_STATES:
            one = _weigh(offer, meant, rivals, names, case, catalog)[0]
            unfit |= {word} if one.is_wrong or one.is_barred else set()
    rest = {word: x for word, x in by_name.items() if word not in unfit}
    return covers | cover_pieces(rest, wanted, names, case, catalog) if unfit else covers


def _is_never_bought(offer: Offer) -> bool:
    """Was an offer rejected that nobody says was ever ordered, or came."""
    return offer.state == "rejected" and offer.ordered_on is None and not offer.label_number


def _owe(offer: Offer, need: Need, names: Names, case: Case) -> Offer:
    """Return what was rejected with what it costs: nothing where another part was sent."""
    if offer.state != "rejected" or not _find_difference(offer, need, names, case):
        return offer
    return msgspec.structs.replace(offer, return_days=0, restock=0.0)


def _group_rivals(
    matched: Mapping[str, tuple[Offer, Need | None, list[Finding]]],
) -> dict[str, list[Offer]]:
    """Return the offers of parts that cost the same, a need's and its twins', by assembly."""
    found: dict[str, list[Offer]] = {}
    for offer, need, _ in matched.values():
        if need is not None:
            found.setdefault(assembly_of(need.key), []).append(offer)
    return found


def _is_ours(offer: Offer, names: Names, case: Case, catalog: Catalog) -> set[str]:
    """Return the assemblies that an offer may be of, whether the list has one or not."""
    key = assembly_of(offer.fits)
    kind = split_component(offer.fits).kind if offer.fits in case.car.components else ""
    by_key = {a.id for a in catalog.assemblies.values() if a.id == key or kind in a.key}
    return by_key or tell_sold(offer, names, case, catalog)


def _judge_needless(offer: Offer) -> JudgedOffer:
    """Return an order that is for nothing on the list any more: its price stays in the sums."""
    return _judge_spent(offer, Need(key="", title=offer.fits), "needless")


def _judge_spent(offer: Offer, need: Need, why: str) -> JudgedOffer:
    """Return an order as money that was spent on no part of the plan."""
    spent = Need(
        key=f"{why}:{offer.id}",
        title=need.title,
        quantity=count_pieces(offer) or need.quantity,
        chance=0.0,
        live=need.live,
    )
    return JudgedOffer(offer=offer, need=spent.key, policy="allow", is_usable=False, spent=spent)


def list_needless(judged: Iterable[JudgedOffer]) -> tuple[Need, ...]:
    """Return what was ordered and is for nothing that is needed, as needed by no chance."""
    return tuple(j.spent for j in judged if j.spent is not None)


def _with_rest(one: JudgedOffer, need: Need, cover: Cover | None) -> list[JudgedOffer]:
    """Return an offer for a need, and of an order the pieces that are more than are needed."""
    if one.is_barred and one.offer.state in KEPT_STATES:
        return [one, _judge_spent(one.offer, need, "unfit")]
    if cover is None:
        return [one]
    found = [msgspec.structs.replace(one, covers=list_places(need))]
    offer, more = one.offer, (count_pieces(one.offer) or 0) - need.quantity
    if offer.state in KEPT_STATES and offer.pieces == 1 and more > 0:
        found.append(_judge_needless(msgspec.structs.replace(offer, quantity=more)))
    return found


def _is_for_all(offer: Offer, need: Need, cover: Cover | None) -> bool:
    """Is the price of one named place taken for several, because nobody names another."""
    named = cover is not None and bool(cover.place) and need.quantity > 1
    return named and offer.quantity is None and offer.pieces == 1


def _weigh(
    offer: Offer,
    need: Need,
    rivals: Mapping[str, Sequence[Offer]],
    names: Names,
    case: Case,
    catalog: Catalog,
) -> tuple[JudgedOffer, list[Finding]]:
    """Return an offer for a need as it is judged, and what is doubtful of it."""
    found = _judge(offer, need, case, catalog)
    suspect = is_suspect(offer, need, catalog, rivals.get(assembly_of(need.key), ()))
    wrong = _compare_label(offer, need, names, case)
    other = compare_answer(offer, need, case, catalog)
    few = offer.quantity is not None and offer.quantity < offer.times(need)
    usable = found.is_usable and not (suspect or wrong or other or few)
    barred = bool(suspect or other) or not found.is_usable
    findings = [tell_mismatch(offer, need, wrong)] if wrong else []
    findings += [tell_not_compared(offer, need)] if _is_unread(offer) else []
    findings += _refuse(found, need, case, catalog)
    findings += [tell_too_cheap(found, need, suspect)] if suspect else []
    findings += [tell_other_answer(offer, need, other)] if other else []
    findings += [tell_too_dear(offer, need)] if is_dear(offer, need, catalog) else []
    findings += [tell_too_few(offer, need)] if few else []
    judged = msgspec.structs.replace(
        found, is_usable=usable, is_wrong=bool(wrong), is_barred=barred and not wrong
    )
    return judged, findings


def _judge(offer: Offer, need: Need, case: Case, catalog: Catalog) -> JudgedOffer:
    rules = _find_rules(offer, need, case, catalog)
    policy: Policy = rules[0].says if rules else "allow"
    if policy == "allow" and offer.condition != "new" and need.live:
        policy = "allow-with-documents"
    return JudgedOffer(
        offer=offer,
        need=need.key,
        policy=policy,
        is_usable=policy in ("allow", "allow-with-documents"),
        why=tuple(cite(r) for r in rules),
        lacks=missing_papers(offer, rules[0].without) if rules else (),
    )


def _find_rules(offer: Offer, need: Need, case: Case, catalog: Catalog) -> list[UsedPolicy]:
    """Return the rules that apply to an offer, strictest first."""
    kinds = _kinds_of(need, catalog)
    policies = catalog.market.policies.values()
    rules = [r for r in policies if _speaks_of(r, need, kinds, catalog)]
    rules = [r for r in rules if _applies(r, offer, case)]
    return sorted(rules, key=lambda r: -POLICIES.index(r.says))


def _kinds_of(need: Need, catalog: Catalog) -> set[str]:
    """Return the kinds of component that a need is or contains."""
    assembly = catalog.assemblies.get(assembly_of(need.key))
    inside = {split_component(c).kind for c in need.contains}
    return inside | (set(assembly.key) if assembly else set())


def _speaks_of(rule: UsedPolicy, need: Need, kinds: set[str], catalog: Catalog) -> bool:
    """Is a need one of the parts that a rule is about."""
    market, known = catalog.market, catalog.kinds
    families = {known[k].family for k in kinds if k in known}
    restraint = bool(families & market.restraint_families or kinds & market.restraint_kinds)
    return (
        (need.live or not rule.live_only)
        and (restraint or need.live or not rule.restraint_only)
        and (not rule.kinds or bool(kinds & set(rule.kinds)))
    )


def _applies(rule: UsedPolicy, offer: Offer, case: Case) -> bool:
    here = rule.place == EVERYWHERE or (case.region or "").startswith(rule.place)
    if not (here and offer.condition in rule.conditions):
        return False
    if rule.profiles and case.profile.name not in rule.profiles:
        return False
    return not rule.without or bool(missing_papers(offer, rule.without))


def _with_label(offer: Offer, wanted: Sequence[Need], case: Case) -> Offer:
    """Return an offer that arrived with the label that the case holds of it, by its seller."""
    if offer.state not in HERE_STATES or offer.label_number:
        return offer
    mine = {c for n in wanted if offer.fits in (n.key, n.title, *n.contains) for c in n.contains}
    labels = [
        e.number
        for e in case.evidence
        if isinstance(e, PartLabel) and e.component in mine and e.seller == offer.supplier
    ]
    return msgspec.structs.replace(offer, label_number=labels[-1]) if labels else offer


def old_labels(case: Case) -> dict[str, str]:
    """Return the numbers on the labels of the parts the car came with, by component."""
    labels = [e for e in case.evidence if isinstance(e, PartLabel)]
    return {e.component: e.number for e in labels if not e.seller and e.provenance == "unknown"}


def _compare_label(offer: Offer, need: Need, names: Names, case: Case) -> str:
    """Return in what the label of an arrived part differs from what was ordered; empty = nothing.

    The number is compared with the one that was ordered, else with the one on the old part.
    """
    here = offer.state in HERE_STATES
    return _find_difference(offer, need, names, case) if here else ""


def _find_difference(offer: Offer, need: Need, names: Names, case: Case) -> str:
    """Return in what the label that was read differs from what was ordered; empty = in nothing."""
    old = old_labels(case)
    ordered = [offer.part_number] if offer.part_number else []
    ordered = ordered or [old[c] for c in need.contains if c in old]
    if (
        offer.label_number
        and ordered
        and bare_number(offer.label_number) not in map(bare_number, ordered)
    ):
        return f"its label says {offer.label_number}, ordered was {' or '.join(ordered)}"
    place = split_component(need.contains[0]).place if need.contains else ""
    side = side_of(place, case.car.drive_hand) if place else None
    if offer.label_side and side and offer.label_side != side:
        return f"its label says {offer.label_side}, the part belongs on the {side}"
    other = match_need(msgspec.structs.replace(offer, fits=offer.label_what), names)[0]
    if offer.label_what and other is not None and other.key != need.key:
        return f"its label says '{offer.label_what}', which is {other.title}"
    return ""


def _is_unread(offer: Offer) -> bool:
    return offer.state == "arrived" and not offer.label_number


def _refuse(found: JudgedOffer, need: Need, case: Case, catalog: Catalog) -> list[Finding]:
    """Return what every rule says that stands against an offer, the strictest first."""
    against: tuple[Policy, ...] = ("forbid", "price-only")
    rules = _find_rules(found.offer, need, case, catalog)
    return [tell_refused(found, need, rule) for rule in rules if rule.says in against]
