"""The sentences of the half year: why jobs were opened, held, corrected, skipped and closed."""

from typing import Final

OPENED_BECAUSE: Final = (
    "Does not start after three weeks on the lake; the fault follows the package under pressure.",
    "Open corner joint seen in X-ray after the drop from the pier.",
    "Readings freeze when the board is bent slightly.",
    "Functional test fails at 4 °C and passes at 20 °C.",
    "Bridge between two balls found at incoming inspection.",
    "Memory errors at every second start.",
    "Water got into the float; the package was corroded at one edge.",
    "Part from a recalled lot: replace as a precaution.",
    "Supply current 40 mA too high, warm spot on this package.",
    "Echo channel B silent; signal present at the pad, none at the ball.",
)
AGAIN_BECAUSE: Final = "Second attempt after the rejected rework of this site."
CANCELLED_BECAUSE: Final = (
    "Customer takes the instrument back unrepaired.",
    "Fault was in the cable; the board is good.",
    "Opened for the wrong serial.",
    "Replaced by a new board under warranty.",
)
HOLD_COOL: Final = "Joint peak below the window on reflow. Wait for an engineer."
LIFT_COOL: Final = (
    "Nozzle was not seated. Reflow once more; heats of the neighbours are within limits."
)
HOLD_WARM: Final = "Neighbouring part got warmer than its limit. Wait for an engineer."
LIFT_WARM: Final = "Neighbour looked at in X-ray: joints sound. Go on, and mount the side shield."
HOLD_HOT: Final = "Body above its highest temperature. Nothing further until decided."
LIFT_HOT: Final = "Package and pads are damaged; scrap the board."
HOLD_QUESTION: Final = "Part lot on the reel differs from the lot on the traveller."
LIFT_QUESTION: Final = "Reel label was reprinted by the store; lot confirmed."
HOLD_WAITING: Final = "Replacement part not in the store."
ABORTED_REMARK: Final = "First heating stopped by hand: a thermocouple came off. Repeated."
ABORTED_BECAUSE: Final = "A thermocouple came off while heating; stopped by hand."
OPEN_REMARK: Final = "One sensor opened during the run."
REFLOW_ONLY: Final = "Part stays in place: joints are reflowed only."
REMOVE_ONLY: Final = "Part was taken off for analysis; the site stays empty."
PADS_LOST: Final = "Two pads came off with the part; the site cannot be rebuilt."
NO_CLEAN_NEEDED: Final = "No residue visible under the mirror; no-clean flux left as it is."
TYPED_WRONG: Final = "Typed the wrong figure."
SCANNED_WRONG: Final = "Scanned the label of the neighbouring bag."
ACCEPTED_OPEN: Final = (
    "One sensor opened during reflow, so the window cannot be shown for its channel; accepted on "
    "the other channels, X-ray and test."
)
ACCEPTED_WARM: Final = (
    "Neighbouring part went above its limit; its joints are sound in X-ray. Accepted with that."
)
ACCEPTED_EMPTY: Final = "Part handed over for analysis; the site is clean and stays empty."
CLOSED_AS: Final = {
    "accepted": "Passed. Back to assembly.",
    "rejected": "Not good enough: to be reworked again.",
    "scrapped": "Scrapped; label cut, board to the bin for boards.",
}
