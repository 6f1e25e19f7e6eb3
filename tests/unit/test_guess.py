"""Headers of other programs: taken for what their words say, and for nothing where they do not."""

import pytest

from rfcal.readings.csv import guessed


@pytest.mark.parametrize(
    ("header", "names"),
    [
        ("Freq(MHz);Rs;Xs;SWR", "frequency_mhz r_ohm x_ohm"),
        ("Frequency (Hz),SWR,R (ohm),X (ohm)", "frequency_hz r_ohm x_ohm"),
        ("Frequency [GHz]\tResistance [\u03a9]\tReactance [\u2126]", "frequency_ghz r_ohm x_ohm"),
        ("Freq kHz,|S11|,Phase S11 (deg)", "frequency_khz magnitude degrees"),
        ("FREQ_HZ,S11_DB,S11_DEG", "frequency_hz magnitude_db degrees"),
        ("freq. MHz,Return loss,S11 (dB),Angle", "frequency_mhz magnitude_db degrees"),
        ("FreqMHz,Re(S11),Im(S11)", "frequency_mhz re im"),
        ("Freq MHz,real Z,imag Z", "frequency_mhz r_ohm x_ohm"),
        ("Freq MHz,|Z|,Phase Z", "frequency_mhz z_ohm degrees"),
        ("Freq MHz,|Z|,|S11| dB,Phase(Z),Phase(S11)", "frequency_mhz magnitude_db degrees"),
        # the sign of X, the angle's unit, whose angle it is, and the unit of frequency are not said
        ("Freq MHz,R,|X|", ""),
        ("Freq MHz,|S11|,Phase (rad)", ""),
        ("Freq MHz,|Z|,|S11|,Phase", ""),
        ("Frequency,R,X", ""),
        ("Freq MHz,R,R,X", ""),
        ("Freq MHz,|S21|,Phase S21", ""),
        ("Freq MHz,Return loss dB,Phase", ""),
        ("1,2,3", ""),
    ],
)
def test_a_header_is_taken_by_its_words(header, names):
    layout = guessed(f"made by hand\n\n{header}\n14.1;50;3\n")
    assert " ".join(layout.columns if layout else ()) == names
    assert all(own in header for own in (layout.columns.values() if layout else ()))
