"""Cautions, one sentence each, the same words wherever a hand is about to move: terminal, page, lesson, notes, README.

Source: common practice in workshops and schools, no source. They defer to local rules.
"""

SCALE = "Scale models only; nothing here is advice for driving a full-size car."
BATTERY = "Motor and battery unplugged, the battery left in place; no punctures, no shorts, charging attended."
SPRINGS = "Fingers clear of the driveline and of springs under load."
LIFT = "The car supported under the lifted axle; for steep lifts the battery out, a block of equal mass in its place."
TILT = "Battery out, a block of equal mass in its place; a catcher at the board's lower edge."
MASSES = "Check masses over the middle of the table, toes out from under them."
BALLAST = "No lead as ballast in class."
TABLE_EDGE = "A rail or a catcher at the table's edge; cables and tripods out of the way."
DRIVING = "Border the area, nobody inside, camera tied; motor off before hands come near."
GLUE = "Tyre treatments and glue only with air and gloves."
SOLDER = "Solder with air and eye protection, the iron in its stand; hands washed before food."
SUPPLY = "Power from a computer's USB port or an approved USB supply that nobody has opened."
FINGER = "The finger's tip blunt and low, the other hand clear of wheels and springs, the lead loose."
PENCIL = "Stand a pencil with its blunt end up."
PUPILS = "Pupils on film: sound off, only the floor sheets in the picture, the school's rules first."
LOCAL = "Local rules and qualified people come first."
