"""Words in the names of files and in what files say of themselves, in four languages, and what they mean.

All are small letters without accents, as `recognition.tokens` gives them. A word that may mean something
else in a name stands here only where the module that reads it asks for more than the word.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from earwitness.records.takes import Orbit, TakeKind


def _set(words: str) -> frozenset[str]:
    return frozenset(words.split())


_HORIZONTAL: Final = _set("horizontal horizontale horizontaler horizontales horiz hor waagerecht waagrecht")
_VERTICAL: Final = _set("vertical verticale verticales vertikal vertikale vert ver senkrecht lotrecht")

#: Words that say a plane wherever they stand.
PLANES: Final[Mapping[str, Orbit]] = {
    **dict.fromkeys(_HORIZONTAL, Orbit.HORIZONTAL),
    **dict.fromkeys(_VERTICAL, Orbit.VERTICAL),
}
#: Words that say a plane only before a number: the angles of AES69, and single letters.
PLANES_BEFORE_NUMBERS: Final[Mapping[str, Orbit]] = {
    **dict.fromkeys(("az", "azi", "azimuth", "azimut", "h"), Orbit.HORIZONTAL),
    **dict.fromkeys(("el", "ele", "elev", "elevation", "elevacion", "v"), Orbit.VERTICAL),
}
AZIMUTH: Final = frozenset({"az", "azi", "azimuth", "azimut"})
ELEVATION: Final = frozenset({"el", "ele", "elev", "elevation", "elevacion"})
#: A version's number follows these as often as an angle does.
MAY_BE_VERSION: Final = frozenset({"v", "ver", "vers"})
#: Angles of spherical coordinates, which books define against each other.
SPHERICAL: Final = frozenset({"theta", "phi", "θ", "φ"})

DEGREES: Final = _set("deg degs degree degrees ° grad degre degres grado grados")
#: Words before an angle.
ANGLE: Final = _set("angle angles winkel angulo drehwinkel off")

ON_AXIS: Final = (
    ("on", "axis"),
    ("onaxis",),
    ("auf", "achse"),
    ("sur", "l", "axe"),
    ("dans", "l", "axe"),
    ("en", "el", "eje"),
    ("en", "eje"),
)
UP: Final = _set("up upward upwards above oben haut arriba")
DOWN: Final = _set("down downward downwards below unten bas abajo")
#: Whose left it is nobody can tell.
SIDES: Final = _set("left right links rechts gauche droite izquierda derecha l r")
#: Where the loudspeaker was turned over, up is down.
TURNED: Final = _set("tilt tilted upside inverted gekippt kopfueber")

PLUS: Final = _set("plus pos positive positiv")
MINUS: Final = _set("minus neg negative negativ moins menos")
#: Letters that may be a sign before digits.
SIGN_LETTERS: Final = frozenset("pmn")

REPEAT: Final = _set("repeat rep wiederholung wdh repetition repeticion")

#: Words of which each says a kind by itself.
KINDS: Final[Mapping[str, TakeKind]] = {
    **dict.fromkeys(_set("stimulus stim anregung testsignal"), TakeKind.STIMULUS),
    **dict.fromkeys(_set("impedance impedanz impedancia"), TakeKind.IMPEDANCE),
    **dict.fromkeys(_set("resistor widerstand resistencia"), TakeKind.RESISTOR),
    **dict.fromkeys(_set("calibrator kalibrator calibrateur calibrador"), TakeKind.CALIBRATOR),
    **dict.fromkeys(_set("noise rauschen bruit ruido"), TakeKind.NOISE),
    **dict.fromkeys(_set("selfnoise eigenrauschen"), TakeKind.SELF_NOISE),
    **dict.fromkeys(_set("endurance dauerlast"), TakeKind.ENDURANCE),
    **dict.fromkeys(_set("multitone vielton multiton"), TakeKind.MULTITONE),
    **dict.fromkeys(_set("twotone twotones zweiton intermodulation"), TakeKind.TWO_TONES),
    **dict.fromkeys(_set("ir impulse impulsantwort"), TakeKind.IMPULSE_RESPONSE),
    **dict.fromkeys(_set("nearfield nahfeld"), TakeKind.NEAR_FIELD),
}
#: The same as two words.
KIND_PAIRS: Final[Mapping[tuple[str, str], TakeKind]] = {
    ("near", "field"): TakeKind.NEAR_FIELD,
    ("champ", "proche"): TakeKind.NEAR_FIELD,
    ("campo", "cercano"): TakeKind.NEAR_FIELD,
    ("reponse", "impulsionnelle"): TakeKind.IMPULSE_RESPONSE,
    ("test", "signal"): TakeKind.STIMULUS,
    ("self", "noise"): TakeKind.SELF_NOISE,
    ("two", "tones"): TakeKind.TWO_TONES,
    ("two", "tone"): TakeKind.TWO_TONES,
    ("many", "tones"): TakeKind.MULTITONE,
    ("reference", "loudspeaker"): TakeKind.REFERENCE,
    ("reference", "speaker"): TakeKind.REFERENCE,
    ("rig", "reference"): TakeKind.REFERENCE,
}
MICROPHONE: Final = _set("microphone mikrofon micro microfono mic mik")
CALIBRATION: Final = _set("calibration kalibrierung calibracion etalonnage cal kal")
#: Noise that is played, not found.
PLAYED_NOISE: Final = _set("pink white rosa weiss weisses rose blanc blanco brown")
#: What is made of a response, or beside it, and isn't one.
DERIVED: Final = _set(
    "thd distortion klirr verzerrung distorsion hd hd2 hd3 harmonics waterfall csd decay groupdelay "
    "coherence normalized normalised norm normiert normalise relative relativ difference diff delta target "
    "simulated simulation sim average averaged avg mean mittelwert predicted smoothed smoothing geglattet "
    "geglaettet lisse suavizado inroom raumantwort"
)
#: The room is in a response of which these words are said.
IN_A_ROOM: Final = (("in", "room"), ("im", "raum"), ("listening", "room"))
#: A number after one of these is no angle of the microphone.
OTHER_NUMBERS: Final = _set(
    "gain level pegel niveau nivel attenuation atten volume vol trim pad temp temperature offset delay "
    "window gate distance height tilt roll pitch yaw take run file no nr day session step channel ch mic mik "
    "serial"
)
#: Of these even degrees are no angle of the microphone.
TURNS: Final = _set("temp temperature tilt roll pitch yaw")
#: Of these a level may follow, which changes the drive.
LEVELS: Final = _set("gain level pegel niveau nivel attenuation atten volume vol trim pad")

NEAR: Final = _set("near nf nah proche cercano")
#: Parts of a loudspeaker, each of which may have been measured alone.
RADIATORS_ALONE: Final = _set(
    "woofer tweeter midrange midwoofer port tieftoener hochtoener mitteltoener reflexrohr boomer"
)
RADIATORS: Final = RADIATORS_ALONE | _set("mid subwoofer vent slot driver cone dome horn ribbon radiator")
#: What stands beside a radiator to tell it from another.
RADIATOR_PLACES: Final = _set("lower upper top bottom front rear inner outer left right side passive")
#: What stands in names and says nothing.
SAYS_NOTHING: Final = _set(
    "sweep chirp date range take run file day session rec recording measurement messung mesure medida raw "
    "data the of at in test final new again sine log wav response"
)

#: Units that may stand apart from their number.
SPACED_UNITS: Final = DEGREES | _set(
    "v vrms veff volt volts mv mvrms vp vpk vpp vpeak w mw watt watts dbfs dbu dbv dbm db mm cm inch inches "
    "zoll hz khz bit bits"
)

#: What a line of a file says of a response that isn't as it was measured.
DERIVED_IN_LINES: Final = _set(
    "normalized normalised normalization normiert normalise simulated simulation simuliert simule predicted "
    "distortion thd klirr verzerrung distorsion harmonic harmonics coherence smoothed smoothing geglattet "
    "glattung lissage lisse suavizado spatial inroom"
)
#: Words that take back what a line would say.
NEGATIONS: Final = _set(
    "none no not without off false disabled kein keine ohne aus sans non ninguno ninguna sin"
)
#: Volts in a line that names one of these aren't the loudspeaker's.
OTHER_VOLTS: Final = _set(
    "microphone mikrofon micro microfono mic sensitivity empfindlichkeit sensibilite sensibilidad pa phantom "
    "p48 speisung supply input full scale adc reference calibrator offset"
)
#: Words that name a plane or a drive; a line that isn't understood may say one.
SAYS_PLANE: Final = _set("plane ebene plano orbit")
SAYS_DRIVE: Final = _set("drive drives voltage spannung tension excitation")
#: A line with one of these speaks of something else than of where the microphone stood, and of the drive.
OF_OTHERS: Final = _set(
    "phase fase microphone mikrofon micro microfono mic sensitivity phantom supply display calibrated "
    "opening coverage ground image unit units"
)

#: In a line that a file says of itself every word must be one of these, else the line says nothing: it may
#: speak of a display, of the microphone, of the room.
HEADER_WORDS: Final = (
    frozenset(PLANES)
    | frozenset(PLANES_BEFORE_NUMBERS) - {"h", "v"}
    | ANGLE - {"off"}
    | DEGREES
    | UP
    | DOWN
    | PLUS
    | MINUS
    | SIDES - {"l", "r"}
    | SPHERICAL
    | _set("plane plan ebene plano orbit direction richtung measured gemessen at of the in bei a au en")
    | _set(
        "drive drives voltage spannung tension excitation terminals v volt volts mv vrms veff rms dbfs dbu "
        "on axis onaxis"
    )
    | _set("auf achse sur dans l axe eje")
)
