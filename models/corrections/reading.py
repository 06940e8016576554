"""What holds of a photo: its measurement with all that people put right of it.

This is the one place where the two meet. The result depends on the fixes in force alone, not on
those that were taken back, nor on the order of fixes of different things; of two patterns said of
one leaf the later holds, and of two outlines the later is drawn over the earlier.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from models.corrections.arithmetic import summed_up, with_lesions
from models.corrections.places import Place, aimed_at, diameter_px, lying_at
from models.corrections.records import (
    ADDED,
    REJECTED,
    Fix,
    Fixed,
    Mark,
    Redrawn,
    pattern_of,
)
from models.entries import Find, FindKind, LeafEntry, PhotoEntry
from vision.flags import FLAGS, in_order
from vision.records import Lesion

__all__ = [
    "SET_ASIDE",
    "CorrectedReading",
    "SeenLeaf",
    "SeenLesion",
    "SeenThing",
    "State",
    "corrected_reading",
    "leaf_place",
    "lesion_place",
    "thing_place",
]

State = Literal["measured", "rejected", "added", "redrawn"]
"""Whether something was measured and holds, was measured and is none, or came from a person."""

SET_ASIDE = "set_aside"
"""Flag of a photo that somebody said not to use."""


@dataclass(frozen=True)
class SeenLeaf:
    """A leaf with what holds of it.

    Attributes
    ----------
    entry : LeafEntry
        With all corrections; of a rejected leaf as measured.
    state : {"measured", "rejected", "redrawn"}
    fix : int or None
        Number of the fix behind the state.
    outline_px : tuple of Mark
        Of a redrawn leaf.
    """

    entry: LeafEntry
    state: State = "measured"
    fix: int | None = None
    outline_px: tuple[Mark, ...] = ()


@dataclass(frozen=True)
class SeenLesion:
    """A lesion with what people said of it.

    Attributes
    ----------
    leaf, number : int
        Number of its leaf, and on it, from 1, largest first; those that were added come last.
    row_px, col_px : float
        Its middle.
    size_px : float
        Diameter of the disc of equal area.
    state : {"measured", "rejected", "added"}
        Rejected by itself or with its leaf.
    fix : int or None
        Number of the fix behind the state.
    lesion : Lesion or None
        As measured; None where it was added.
    """

    leaf: int
    number: int
    row_px: float
    col_px: float
    size_px: float
    state: State = "measured"
    fix: int | None = None
    lesion: Lesion | None = None


@dataclass(frozen=True)
class SeenThing:
    """A dropping or a caterpillar with what people said of it.

    Attributes
    ----------
    kind : {"dropping", "caterpillar"}
    number : int
        In the photo, from 1, surest first; those that were added come last.
    row_px, col_px : float
        Its middle.
    length_px : float
        Length, or of one that was added the size that was said.
    state : {"measured", "rejected", "added"}
    fix : int or None
        Number of the fix behind the state.
    find : Find or None
        As measured; None where it was added.
    """

    kind: FindKind
    number: int
    row_px: float
    col_px: float
    length_px: float
    state: State = "measured"
    fix: int | None = None
    find: Find | None = None


@dataclass(frozen=True)
class CorrectedReading:
    """What holds of a photo, beside what was measured on it.

    Attributes
    ----------
    photo : PhotoEntry
        What holds.
    measured : PhotoEntry
        What was measured.
    leaves : tuple of SeenLeaf
        Largest first, those that are none included.
    lesions : tuple of SeenLesion
        Leaf by leaf.
    things : tuple of SeenThing
        Droppings, then caterpillars; only where their places are known.
    fixes : tuple of Fix
        All of the photo, also those that were taken back, in order.
    idle : frozenset of int
        Numbers of fixes that are in force and change nothing: what they were said of does not lie
        there in this reading, or what they add was measured.
    """

    photo: PhotoEntry
    measured: PhotoEntry
    leaves: tuple[SeenLeaf, ...] = ()
    lesions: tuple[SeenLesion, ...] = ()
    things: tuple[SeenThing, ...] = ()
    fixes: tuple[Fix, ...] = ()
    idle: frozenset[int] = frozenset()

    @property
    def edition(self) -> str:
        """What changes with each thing put right or taken back, and with each new reading."""
        own = [fix for fix in self.fixes if fix.number]  # told to this release
        return f"{self.measured.version}/{len(own) + sum(fix.undone for fix in own)}"

    @property
    def label(self) -> Fix | None:
        """The pattern that somebody said of the largest leaf as measured; None without one."""
        leaf = next((seen for seen in self.leaves if seen.entry.leaf == 1), None)
        if leaf is not None and leaf.state != "measured":
            return None
        places = [leaf_place(entry) for entry in self.measured.leaves]
        said = [
            fix
            for fix in self.fixes
            if fix.what == "pattern" and not fix.undone
            if not fix.marks or lying_at(fix.marks[0], places) == 0
        ]
        return said[-1] if said else None


_PLACED = (ADDED.keys() | REJECTED.keys()) - {"not_leaf"}


@dataclass(eq=False)
class _Draft:
    """A reading on its way from what was measured to what holds."""

    measured: PhotoEntry
    leaves: dict[int, SeenLeaf]
    lesions: dict[int, list[SeenLesion]]
    fixes: dict[Fixed, list[Fix]] = field(default_factory=dict)
    idle: set[int] = field(default_factory=set)
    called_again: bool = False

    def hold(self, fix: Fix) -> None:
        """Take a fix in, unless an import brought it without the place that it is about."""
        if fix.what in _PLACED and not fix.marks:
            self.idle.add(fix.number)
        else:
            self.fixes.setdefault(fix.what, []).append(fix)

    def of(self, what: Fixed) -> list[Fix]:
        return self.fixes.get(what, [])

    @property
    def standing(self) -> list[SeenLeaf]:
        """The leaves that are not rejected."""
        return [leaf for leaf in self.leaves.values() if leaf.state != "rejected"]


def corrected_reading(
    measured: PhotoEntry,
    lesions: Iterable[Lesion] = (),
    finds: Sequence[Find] = (),
    fixes: Sequence[Fix] = (),
    redrawn: Iterable[Redrawn] = (),
) -> CorrectedReading:
    """Work out what holds of a photo.

    Parameters
    ----------
    measured : PhotoEntry
        The photo with its current reading.
    lesions : iterable of Lesion
        Of all its leaves, each leaf's largest first.
    finds : sequence of Find
        Droppings and caterpillars of the reading; empty where only their number is known.
    fixes : sequence of Fix
        All of the photo, in order.
    redrawn : iterable of Redrawn
        What was measured inside redrawn outlines.
    """
    draft = _Draft(
        measured, {leaf.leaf: SeenLeaf(leaf) for leaf in measured.leaves}, _by_leaf(lesions)
    )
    for fix in fixes:
        if not fix.undone:
            draft.hold(fix)
    _redraw(draft, {one.fix: one for one in redrawn})
    _reject_leaves(draft)
    _put_lesions_right(draft)
    photo = _summed_up(draft)
    photo = _with_patterns(draft, photo)
    photo, things = _with_things(draft, photo, finds)
    if draft.of("not_eaten"):
        photo = replace(photo, chewed_pct=0.0)
    if draft.of("unused"):
        photo = _set_aside(photo)
    return CorrectedReading(
        photo,
        measured,
        tuple(sorted(draft.leaves.values(), key=lambda s: (-s.entry.area_px, s.entry.leaf))),
        tuple(one for number in sorted(draft.lesions) for one in draft.lesions[number]),
        things,
        tuple(fixes),
        frozenset(draft.idle),
    )


def leaf_place(leaf: LeafEntry) -> Place:
    """Return where a leaf lies; one of a record without its middle lies nowhere."""
    row, col = leaf.row_px, leaf.col_px
    nowhere = row is None or col is None
    size = 0.0 if nowhere else diameter_px(leaf.area_px)
    return Place(leaf.leaf, leaf.leaf, row or 0.0, col or 0.0, size)


def lesion_place(seen: SeenLesion) -> Place:
    """Return where a lesion lies."""
    return Place(seen.leaf, seen.number, seen.row_px, seen.col_px, seen.size_px)


def thing_place(seen: SeenThing) -> Place:
    """Return where a dropping or a caterpillar lies."""
    return Place(0, seen.number, seen.row_px, seen.col_px, seen.length_px)


def _by_leaf(lesions: Iterable[Lesion]) -> dict[int, list[SeenLesion]]:
    found: dict[int, list[SeenLesion]] = {}
    for lesion in lesions:
        own = found.setdefault(lesion.leaf, [])
        own.append(_measured_lesion(lesion, lesion.leaf, len(own) + 1))
    return found


def _measured_lesion(lesion: Lesion, leaf: int, number: int) -> SeenLesion:
    place = lesion.row_px, lesion.col_px, lesion.equivalent_diameter_px
    return SeenLesion(leaf, number, *place, lesion=replace(lesion, leaf=leaf))


def _redraw(draft: _Draft, redrawn: Mapping[int, Redrawn]) -> None:
    """Put each redrawn leaf in the place of those that it stands for or whose middle it holds."""
    for fix in draft.of("outline"):
        inside = redrawn.get(fix.number)
        if inside is None:
            draft.idle.add(fix.number)
            continue
        replaced = _replaced(fix, [leaf.entry for leaf in draft.leaves.values()])
        number = min(replaced, default=max(draft.leaves, default=0) + 1)
        for gone in replaced:
            del draft.leaves[gone]
            draft.lesions.pop(gone, None)
        leaf = replace(inside.leaf, leaf=number)
        draft.leaves[number] = SeenLeaf(leaf, "redrawn", fix.number, fix.outline)
        draft.lesions[number] = [
            _measured_lesion(lesion, number, place)
            for place, lesion in enumerate(inside.lesions, start=1)
        ]
        draft.called_again = True


def _replaced(fix: Fix, leaves: Sequence[LeafEntry]) -> set[int]:
    places = [leaf_place(leaf) for leaf in leaves]
    named = {lying_at(mark, places) for mark in fix.marks if mark.size_px is not None} - {None}
    within = {n for n, place in enumerate(places) if place.size_px and _holds(fix.outline, place)}
    return {leaves[n].leaf for n in named | within if n is not None}


def _holds(outline: Sequence[Mark], place: Place) -> bool:
    """Whether an outline goes around a place: a line from there to the left crosses it oddly."""
    odd = False
    for one, other in zip(outline, [*outline[1:], *outline[:1]], strict=True):
        if (one.row_px > place.row_px) != (other.row_px > place.row_px):
            along = (place.row_px - one.row_px) / (other.row_px - one.row_px)
            odd ^= one.col_px + along * (other.col_px - one.col_px) < place.col_px
    return odd


def _leaf_of(fix: Fix, places: Sequence[Place]) -> int | None:
    """Return which leaf a fix is about: that at its mark, or the largest one without a mark."""
    if not fix.marks:
        return 0 if places else None
    return lying_at(fix.marks[0], places)


def _reject_leaves(draft: _Draft) -> None:
    places = [leaf_place(leaf.entry) for leaf in draft.leaves.values()]
    for fix in draft.of("not_leaf"):
        hit = _leaf_of(fix, places)
        if hit is None:
            draft.idle.add(fix.number)
            continue
        number = places[hit].number
        draft.leaves[number] = replace(draft.leaves[number], state="rejected", fix=fix.number)
        draft.lesions[number] = [
            replace(one, state="rejected", fix=fix.number) for one in draft.lesions.get(number, [])
        ]
        draft.called_again = True


def _put_lesions_right(draft: _Draft) -> None:
    standing = draft.standing
    seen = [one for leaf in standing for one in draft.lesions.get(leaf.entry.leaf, [])]
    places = [lesion_place(one) for one in seen]
    for fix in draft.of("not_lesion"):
        hit = lying_at(fix.marks[0], places)
        if hit is None:
            draft.idle.add(fix.number)
        else:
            seen[hit] = replace(seen[hit], state="rejected", fix=fix.number)
    added = [one for fix in draft.of("lesion") for one in _added(draft, fix, places)]
    for leaf in standing:
        number = leaf.entry.leaf
        own = [one for one in seen if one.leaf == number]
        new = [one for one in added if one.leaf == number]
        new = [replace(one, number=len(own) + n) for n, one in enumerate(new, start=1)]
        draft.lesions[number] = own + new
        draft.leaves[number] = replace(leaf, entry=_with_lesions(draft, leaf.entry, own, new))


def _added(draft: _Draft, fix: Fix, measured: Sequence[Place]) -> list[SeenLesion]:
    """Return a lesion that was missed; none where the reading has it, or where no leaf is."""
    mark, standing = fix.marks[0], draft.standing
    leaf = aimed_at(mark, [leaf_place(one.entry) for one in standing], "leaf", 0.0)
    if leaf is None or lying_at(mark, measured) is not None:
        draft.idle.add(fix.number)
        return []
    number = standing[leaf].entry.leaf
    size = mark.size_px or 0.0
    return [SeenLesion(number, 0, mark.row_px, mark.col_px, size, "added", fix.number)]


def _with_lesions(
    draft: _Draft, leaf: LeafEntry, own: Sequence[SeenLesion], new: Sequence[SeenLesion]
) -> LeafEntry:
    rejected = [one.lesion for one in own if one.state == "rejected" and one.lesion]
    corrected = with_lesions(leaf, rejected, [one.size_px for one in new])
    if corrected.pattern != leaf.pattern:
        draft.called_again = True
    return corrected


def _summed_up(draft: _Draft) -> PhotoEntry:
    """Sum the leaves up anew where one of them changed; else the sums stay as measured."""
    leaves = [leaf.entry for leaf in draft.standing]
    if leaves == list(draft.measured.leaves):
        return draft.measured
    photo = summed_up(draft.measured, leaves)
    gone = {flag for leaf in draft.measured.leaves for flag in leaf.flags}
    kept = {flag for leaf in leaves for flag in leaf.flags}
    flags = [*(flag for flag in photo.flags if flag not in gone), *kept]
    if leaves:  # a leaf may have been drawn where none had been found
        flags = [flag for flag in flags if flag not in FLAGS or FLAGS[flag].measurable]
    return replace(photo, flags=_ordered(flags))


def _ordered(flags: Sequence[str]) -> tuple[str, ...]:
    """Return flags in the usual order; what an import brought that is none of ours comes last."""
    return (*in_order(flags), *(flag for flag in dict.fromkeys(flags) if flag not in FLAGS))


def _with_patterns(draft: _Draft, photo: PhotoEntry) -> PhotoEntry:
    """Call the photo anew where its leaves are others, and let the grower's word stand above."""
    if draft.called_again:
        photo = _called_again(photo)
    places = [leaf_place(leaf) for leaf in photo.leaves]
    for fix in draft.of("pattern"):
        hit = _leaf_of(fix, places)
        if hit is None and fix.marks:
            draft.idle.add(fix.number)
            continue
        said = _as_called(fix)
        if hit is not None:
            leaves = [replace(e, **said) if n == hit else e for n, e in enumerate(photo.leaves)]
            photo = replace(photo, leaves=tuple(leaves))
            number = photo.leaves[hit].leaf
            draft.leaves[number] = replace(draft.leaves[number], entry=photo.leaves[hit])
        if not hit:  # the largest leaf speaks for its photo
            photo = replace(photo, **said)
    return photo


def _as_called(fix: Fix) -> dict[str, Any]:
    pattern, kind = pattern_of(fix)
    if pattern == "blight":
        return {"pattern": pattern, "blight_kind": kind or "unsure"}
    return {"pattern": "unsure" if pattern == "other" else pattern, "blight_kind": ""}


def _called_again(photo: PhotoEntry) -> PhotoEntry:
    from models.pattern import PatternCall, combine, load_classifier  # NumPy

    calls = [
        PatternCall(
            leaf.pattern,  # type: ignore[arg-type]  # one of the patterns
            *_chances(leaf),
            blight_kind=leaf.blight_kind,  # type: ignore[arg-type]  # likewise
            strangeness=0.0,
            reason=leaf.pattern_reason,
        )
        for leaf in photo.leaves
        if leaf.pattern
    ]
    call = combine(calls, load_classifier().least_probability)
    if call is None:
        return replace(photo, pattern="", blight_kind="", p_spot=None, p_blight=None, p_none=None)
    names = ("pattern", "blight_kind", "p_spot", "p_blight", "p_none")
    called: dict[str, Any] = {name: getattr(call, name) for name in names}
    return replace(photo, **called)


def _chances(leaf: LeafEntry) -> tuple[float, float, float]:
    """Return a leaf's probabilities; one whose every lesion was rejected is surely healthy."""
    if leaf.pattern == "none" and leaf.lesion_count == 0:
        return 0.0, 0.0, 1.0
    return leaf.p_spot or 0.0, leaf.p_blight or 0.0, leaf.p_none or 0.0


def _with_things(
    draft: _Draft, photo: PhotoEntry, finds: Sequence[Find]
) -> tuple[PhotoEntry, tuple[SeenThing, ...]]:
    droppings, frass = _counted(draft, "dropping", photo.frass_count, finds)
    bodies, caterpillars = _counted(draft, "caterpillar", photo.caterpillar_count, finds)
    if caterpillars is not None and caterpillars != photo.caterpillar_count:
        more = caterpillars - (photo.caterpillar_count or 0)
        low, high = photo.caterpillar_low, photo.caterpillar_high
        photo = replace(
            photo,
            caterpillar_count=caterpillars,
            caterpillar_low=None if low is None else max(0, min(low + more, caterpillars)),
            caterpillar_high=None if high is None else max(high + more, caterpillars),
        )
    return replace(photo, frass_count=frass), (*droppings, *bodies)


def _counted(
    draft: _Draft, kind: FindKind, count: int | None, finds: Sequence[Find]
) -> tuple[list[SeenThing], int | None]:
    """Return what lies where, and how many hold.

    Where a reading of an earlier release knows their number alone, each word counts for one.
    """
    of_kind = [find for find in finds if find.kind == kind]
    seen = [SeenThing(kind, f.number, f.row_px, f.col_px, f.length_px, find=f) for f in of_kind]
    places = [thing_place(one) for one in seen]
    known = len(seen) == (count or 0)
    rejecting: Fixed = "not_dropping" if kind == "dropping" else "not_caterpillar"
    unseen = 0
    for fix in draft.of(rejecting):
        hit = lying_at(fix.marks[0], places)
        if hit is not None:
            seen[hit] = replace(seen[hit], state="rejected", fix=fix.number)
        elif known:
            draft.idle.add(fix.number)
        else:
            unseen += 1
    gone = sum(one.state == "rejected" for one in seen) + unseen
    for fix in draft.of(kind):
        mark = fix.marks[0]
        if lying_at(mark, places) is not None:
            draft.idle.add(fix.number)
            continue
        place = mark.row_px, mark.col_px, mark.size_px or 0.0
        seen.append(SeenThing(kind, len(seen) + 1, *place, "added", fix.number))
    more = sum(one.state == "added" for one in seen)
    return seen, count if not (gone or more) else max(0, (count or 0) - gone) + more


def _set_aside(photo: PhotoEntry) -> PhotoEntry:
    """Return a photo of which nothing counts; the measurement stays in the record."""
    kept: dict[str, Any] = {name: getattr(photo, name) for name in _OF_PHOTO}
    return PhotoEntry(
        **kept,
        flags=_ordered((*photo.flags, SET_ASIDE)),
    )


_OF_PHOTO = (
    *("photo", "sha256", "taken_at", "taken_from", "plant", "plant_from", "mode", "version"),
    *("mm_per_px", "width_px", "height_px"),
)
