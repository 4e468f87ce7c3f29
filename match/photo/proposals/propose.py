"""Propose regions on a photo without the sheet, for the user to accept or move: nothing rather than nonsense.

A mark made by hand always wins: :func:`merge` keeps every one of them and adds only what is missing beside them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from match.calibration import quantity
from match.colorimetry import Array, delta_e00
from match.photo.proposals.choose import MIDDLE, Choice, ChoiceSettings, Seen, choose
from match.photo.proposals.patches import (
    EvenPatch,
    Lab,
    PatchSettings,
    Picture,
    colours_in,
    find_patches,
    overlap,
    work_picture,
)
from match.photo.regions import MINIMUM_SIDE_PX, Kind, Region
from match.photo.sheet.inside import largest_upright_rectangle


@dataclass(frozen=True)
class PlaceSettings:
    """Where regions are laid; see ``calibration/capture.toml``."""

    inset: float = quantity("fraction of the patch")
    paint_widths: tuple[float, ...] = quantity("widths of the card")
    paint_gaps: tuple[float, ...] = quantity("widths of the card")
    paint_smoothing_px: float = quantity("px")
    paint_unevenness: float = quantity("CIELAB")
    paint_stray: float = quantity("fraction of pixels")


@dataclass(frozen=True)
class ProposalSettings:
    """The table ``proposal`` of ``calibration/capture.toml``."""

    patches: PatchSettings
    choice: ChoiceSettings
    place: PlaceSettings


@dataclass(frozen=True)
class Proposal:
    """A region to accept or move; ``confidence`` (0 to 1) ranks proposals, it is not a measured probability."""

    region: Region
    confidence: float


@dataclass(frozen=True)
class Proposals:
    """The proposals, grey first, then the card, then the vehicle's paint; and plain sentences on what is missing."""

    proposals: tuple[Proposal, ...]
    notes: tuple[str, ...]

    @property
    def regions(self) -> tuple[Region, ...]:
        """The proposed regions."""
        return tuple(proposal.region for proposal in self.proposals)


def propose(picture: Picture, settings: ProposalSettings, *, grey_reflectances: Sequence[float]) -> Proposals:
    """Propose a grey reference, a card, and the paint on either side of the card.

    Parameters
    ----------
    picture : (h, w, 3) uint8, upright, sRGB
    settings : see the class
    grey_reflectances : luminous reflectances (0 to 1) of the patches of the user's grey reference: one for a card
    """
    lab, scale = work_picture(picture, settings.patches.work_side_px)
    patches = find_patches(lab, settings.patches)
    chosen = choose(lab, patches, grey_reflectances, settings.choice)
    height, width = picture.shape[:2]
    proposals = []
    smallest_px = np.min([grey.patch.sides_px for grey in chosen.greys], axis=0) if chosen.greys else np.zeros(2)
    for grey, reflectance in zip(chosen.greys, sorted(grey_reflectances), strict=False):
        corners = _inside(grey.patch, smallest_px, settings.place.inset)
        proposals.append(_proposal(Kind.GREY, corners, scale, (width, height), chosen.grey_confidence, reflectance))
    if chosen.card is not None:
        corners = _inside(chosen.card.patch, chosen.card.patch.sides_px, settings.place.inset)
        proposals.append(_proposal(Kind.CARD, corners, scale, (width, height), chosen.card_confidence))
        for beside in _paint_beside(lab, chosen.card, patches, settings):
            proposals.append(_proposal(Kind.VEHICLE, beside, scale, (width, height), chosen.card_confidence))
    found = tuple(proposal for proposal in proposals if proposal is not None)
    return Proposals(found, _notes(found, chosen, len(grey_reflectances)))


def merge(hand_made: Sequence[Region], proposed: Sequence[Region]) -> tuple[Region, ...]:
    """Return every hand-made mark, then the proposals of kinds that are not marked by hand and overlap nothing."""
    marked = {region.kind for region in hand_made}
    kept = list(hand_made)
    for region in proposed:
        taken = region.kind is Kind.CARD and any(other.kind is Kind.CARD for other in kept)
        if region.kind not in marked and not taken and not any(region.overlaps(other) for other in kept):
            kept.append(region)
    return tuple(kept)


def _inside(patch: EvenPatch, sides_px: Array, inset: float) -> Array:
    """Return corners (4, 2) around the patch's middle: of the given sides (2,), less the inset on every edge.

    A dark step can run into the dark board that holds it; no step is taken larger than the smallest of them.
    """
    half = (0.5 - inset) * np.minimum(sides_px / patch.sides_px, 1.0)
    return patch.part(0.5 - half[0], 0.5 + half[0], 0.5 - half[1], 0.5 + half[1])


def _proposal(
    kind: Kind,
    corners: Array,
    scale: float,
    size_px: tuple[int, int],
    confidence: float,
    reflectance: float | None = None,
) -> Proposal | None:
    """Return the largest upright region inside corners (4, 2) of the work picture, None when it is too small."""
    fitted = largest_upright_rectangle((corners + 0.5) / scale - 0.5, *size_px)
    if fitted is None or min(fitted[2:]) < MINIMUM_SIDE_PX:
        return None
    return Proposal(Region(kind, *fitted, reflectance), confidence)


def _paint_beside(lab: Lab, card: Seen, patches: Sequence[EvenPatch], settings: ProposalSettings) -> list[Array]:
    """Return the nearest even stretch (4, 2) of the panel's paint to the left and to the right of the card."""
    smooth = np.asarray(cv2.GaussianBlur(lab, (0, 0), settings.place.paint_smoothing_px), dtype=np.float32)
    others = [patch.corners_px for patch in patches if patch is not card.patch]
    stretches = []
    for on_left in (True, False):
        tried = (
            card.patch.part(*((-gap - wide, -gap) if on_left else (1 + gap, 1 + gap + wide)), *MIDDLE)
            for wide in settings.place.paint_widths
            for gap in settings.place.paint_gaps
        )
        found = next((corners for corners in tried if _is_paint(smooth, corners, card, others, settings)), None)
        if found is not None:
            stretches.append(found)
    return stretches


def _is_paint(smooth: Lab, corners: Array, card: Seen, others: Sequence[Array], settings: ProposalSettings) -> bool:
    """Return whether the stretch is even, is the paint seen beside the card, and holds nothing else."""
    colours = colours_in(smooth, corners)
    if not len(colours) or any(overlap(corners, other) > 0 for other in others):
        return False
    middle = np.median(colours, axis=0).astype(np.float64)
    stray = np.mean(np.linalg.norm(colours - middle, axis=1) > settings.place.paint_unevenness)
    paint = card.paint
    near = paint is not None and float(delta_e00(middle, paint)) <= settings.choice.paint_agreement
    return near and bool(stray <= settings.place.paint_stray)


def _notes(found: Sequence[Proposal], chosen: Choice, grey_count: int) -> tuple[str, ...]:
    kinds = {proposal.region.kind for proposal in found}
    notes = []
    if Kind.GREY not in kinds:
        what = "no grey reference" if grey_count == 1 else f"no group of {grey_count} grey patches"
        notes.append(f"The picture shows {what} that can be told from the rest: mark it by hand.")
    if chosen.card is None:
        notes.append("The picture shows no card that can be told from the rest: mark the card and the paint by hand.")
    elif Kind.VEHICLE not in kinds:
        notes.append("No even stretch of paint was found beside the card: mark the paint by hand.")
    return tuple(notes)
