"""The effects that the invented network is made with: what an analysis should find again."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Effects:
    """Conditional cause-specific log hazard ratios of latent times, and the shared frailty.

    Attributes
    ----------
    block_on_reluxation
        Block against wedge recession on reluxation.
    band_on_implant
        Tension band against none on any tuberosity or implant complication.
    one_wire_on_implant
        One K-wire against two on any tuberosity or implant complication.
    band_irritation
        Share of implant complications with a band that are irritation; without a band one
        in five is. The band so protects the bone and troubles the skin.
    frailty_sd
        Standard deviation of the log hazard shared by all stifles of an animal.
    """

    block_on_reluxation: float = -0.5
    band_on_implant: float = -0.5
    one_wire_on_implant: float = 0.6
    band_irritation: float = 0.45
    frailty_sd: float = 0.4


NO_EFFECTS = Effects(block_on_reluxation=0.0, band_on_implant=0.0, one_wire_on_implant=0.0)
