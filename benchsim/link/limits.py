"""Every figure of the node link that no setting changes.  The specification prints this table.

Times in microseconds.  Changing one of these changes the protocol: raise the version number.
"""

from __future__ import annotations

HEADER_OCTETS = 14
TAG_OCTETS = 8
CRC_OCTETS = 4
PROOF_OCTETS = 16
SHORTEST_FRAME = HEADER_OCTETS + CRC_OCTETS

MAX_CHANNELS = 4
MAX_SAMPLES_PER_FRAME = 80
MAX_RANGES = 16
LONGEST_FRAME = HEADER_OCTETS + 18 + MAX_CHANNELS + 4 * MAX_CHANNELS * MAX_SAMPLES_PER_FRAME + 12

# An ordinary CRC-32C run over a whole frame, its own CRC included, always ends here.
CRC_RESIDUE = 0x48674BC7

REPLAY_WINDOW = 64

# No counter of samples and no clock in us ever gets there: an end that says so is broken.
NO_NUMBER = 1 << 62
SEQUENCE_LAST = 0xFFFF_FFFF
REKEY_AT = 0x8000_0000

SEEK_STAGGER_US = 10_000
EXCHANGE_LIFE_US = 3_000_000
HOST_SILENT_BEATS = 4
FIRST_BEATS = 4
FIRST_BEAT_US = 50_000
LIVENESS_MARGIN_US = 100_000
ABSENT_PAUSE_US = 1_000_000
# How long a first pairing is on trial, and how much of it must come at first sending.
TRIAL_FRAMES = 32
TRIAL_US = 2_000_000
TRIAL_PERCENT = 50

RESUMES_KEPT = 4
BEATS_KEPT = 64

AGAIN_GRACE_US = 20_000
AGAIN_RETRY_US = 200_000
AGAIN_TRIES = 5
REPEAT_SPACING_US = 5_000
MAX_GAPS = 64

# Frames without a tag come from anybody: what they leave behind is bounded.
SERIALS_KEPT = 8
ANSWERS_KEPT = 8
