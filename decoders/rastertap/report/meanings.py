"""What each finding means at the bench, in a sentence a repairer can use; common practice, no source."""

from __future__ import annotations

MEANINGS: dict[str, str] = {
    "taps.role_mismatch": (
        "A wire carries something else than the board file says: wrong pin, or wrong board file."
    ),
    "taps.swapped": (
        "Two wires have changed places: the picture has wrong colours, or no sync where it is sought."
    ),
    "taps.shifted": (
        "The whole row sits one or more positions off. The supply may reach a signal pin: power off first."
    ),
    "taps.reversed": (
        "The row is plugged the wrong way round. The supply may reach a signal pin: power off first."
    ),
    "taps.inverted": (
        "The level is upside down: an inverting buffer in between, or the wrong one of two outputs."
    ),
    "taps.stuck_low": "The wire never goes high: shorted to ground, broken, or the chip holds it low.",
    "taps.stuck_high": (
        "The wire never goes low: shorted to the supply, pulled up and broken, or the chip holds it high."
    ),
    "taps.bridged": "Two wires move as one: a solder bridge or touching clips.",
    "taps.open": "The wire floats: what it shows is picked up from its neighbours.",
    "taps.crosstalk": "One wire moves when its neighbour does: long parallel leads, or a missing ground.",
    "clock.present": "Without its clock the video chip stands still, whatever else is right.",
    "clock.undersampled": (
        "The analyser looks too seldom: what it says of the clock and of single pixels is guesswork."
    ),
    "clock.frequency": (
        "Line and field rate follow the clock: a set that does not lock, or wrong colours on a composite "
        "output."
    ),
    "clock.jitter": (
        "An unsteady clock moves edges from line to line: ragged or swimming verticals, noisy digitising."
    ),
    "clock.duty": (
        "A lopsided clock leaves too little time in one half of the cycle: rare wrong pixels, worse when "
        "warm."
    ),
    "clock.missing_cycles": (
        "For each lost cycle the rest of that line comes a pixel late: the picture twitches sideways there."
    ),
    "clock.extra_edges": (
        "A second edge counts as a pixel: the rest of the line moves sideways by one. Often ringing."
    ),
    "clock.drift": (
        "The frequency wanders while you look: a generator that warms up, or a loop that does not hold."
    ),
    "clock.modulation": (
        "The clock swings at a steady rate, so do the verticals: hum, a switching supply, or a wanted spread."
    ),
    "clock.phase_jump": (
        "The clock stops and starts anew, or skips part of a cycle: two clocks switched over, or a loose "
        "joint."
    ),
    "sampling.margin": "How early or late the next device may read the bus before it reads pixels wrongly.",
    "sampling.skew": (
        "A bit that comes late colours every upright edge, and leaves less time to read all bits in."
    ),
    "sync.present": "Without sync no screen can place a line or a field.",
    "sync.glitch": "A stray edge may start a line in a screen: the picture tears there, or rolls.",
    "sync.missing_vsync": "Each missing field sync lets the picture roll once.",
    "sync.width": (
        "A screen tells line sync from field sync by its width: far off, it may take one for the other."
    ),
    "sync.missing_hsync": "A screen coasts over one missing line sync; several in a row tear the picture.",
    "sync.field_width": (
        "A field sync that is too short or too long locks badly: the picture jitters up and down."
    ),
    "sync.equalising": "Equalising pulses let both fields interlace exactly; wrong ones pair the lines.",
    "sync.equalising_before": (
        "Too few or too many equalising pulses before the field sync pair the lines of the two fields."
    ),
    "sync.equalising_after": (
        "Too few or too many equalising pulses after the field sync pair the lines of the two fields."
    ),
    "sync.broad": (
        "The broad pulses tell a screen that a new field begins; wrong ones let the top of the picture bend."
    ),
    "sync.broad_count": (
        "The broad pulses tell a screen that a new field begins; too few are taken for none."
    ),
    "sync.serration": (
        "Without its serrations a field sync lets the lines lose step: the top of the picture bends."
    ),
    "sync.protection": (
        "Timing codes in the bus whose protection bits do not fit: bits read wrongly, or not such a bus."
    ),
    "timing.line_length": "Lines of unequal length make the picture tear or lean.",
    "timing.lines_per_field": "A field of another length makes the picture jump; some screens drop it.",
    "timing.lines_per_frame": "Says whether the picture is interlaced, and which standard it follows.",
    "timing.line_rate": (
        "A screen locks to a narrow range of line rates; outside it the picture falls apart."
    ),
    "timing.embedded_picture": "Receivers of component video take 720 pixels, and lose or stretch any other.",
    "timing.line_rate_drift": "A line rate that wanders makes receivers and recorders lose colour or lock.",
    "timing.subcarrier": "A subcarrier that is off leaves a set without colour, or with colours that roll.",
    "timing.subcarrier_drift": "A subcarrier that wanders changes hues, or drops the colour in time.",
    "timing.subcarrier_jitter": "Jitter of the subcarrier shows as noise in the hues.",
    "timing.field_rate": (
        "Outside a screen's range the picture rolls; near its edge it may flicker or be refused."
    ),
    "timing.blanking": "Picture that reaches into the blanking is cut off, or spoils the black level.",
    "timing.line_jitter": "Line syncs that come early or late by themselves move single lines sideways.",
    "timing.single_line": "One line far off is enough to make the picture jump there.",
    "timing.front_porch": (
        "Too short a front porch lets bright picture at the right edge disturb the line sync."
    ),
    "timing.back_porch": "Too short a back porch leaves a screen no time to find the black level.",
    "timing.sync_to_active": "Places the picture left or right on the screen.",
    "timing.line_blanking": "Picture that reaches into the blanking is cut off, or spoils the black level.",
    "timing.field_blanking": "Places the picture up or down, and leaves a screen its time to fly back.",
    "timing.blanking_to_equalising": "Where the equalising pulses begin after the picture has ended.",
    "picture.unstable_pixels": (
        "Pixels that flip by themselves: noise on a tap, too small a margin, or video memory."
    ),
    "picture.blank": "Whether there is a picture at the pins at all.",
    "picture.known_picture": "Compared with a picture that is known, every colour bit proves itself.",
    "picture.colour_set": (
        "A code that the machine cannot show: a stuck or crossed colour bit, or the wrong colour set."
    ),
    "capture.truncated": "The file ends early; what came before the cut was checked.",
    "capture.too_short": "Two whole fields are the least that show whether the picture is steady.",
    "capture.unknown_levels": (
        "Levels between low and high: a floating input, a wrong threshold, or a simulator's x and z."
    ),
}
"""By finding id."""


def meaning(finding: str) -> str:
    """Give the meaning of a finding; empty for one that a third party's check gives."""
    return MEANINGS.get(finding, "")
