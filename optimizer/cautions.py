"""The cautions that stand in the README, on every page and on every export."""

from __future__ import annotations

CAUTIONS = (
    "Analytic estimates for early design. Losses carry about ±15–20 %, volume ±20 %, life of an "
    "electrolytic a factor of two; prices are invented. Do not trust a gap between two designs "
    "below 0.3 points of efficiency or 15 % of volume without a measured prototype.",
    "Lethal voltages: mains, and stored energy in the link and filter capacitors. Disconnect "
    "module and grid, wait for the discharge time, measure zero volts before touching anything. "
    "The module feeds the input as long as light falls on it.",
    "Verification, insulation co-ordination, fire safety and grid certification belong to "
    "qualified people under local codes and standards. Families that apply: IEC 62109-1/-2, "
    "IEEE 1547 and UL 1741, EN 50549-1, IEC 61000-3-2/-3, IEC 61000-4-5, IEC 62116, CISPR 11, "
    "and rapid-shutdown rules.",
    "Patents were not checked.",
)
