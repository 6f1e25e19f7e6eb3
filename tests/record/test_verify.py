"""A page or results.json that was changed does not follow from its record, and says where."""

import base64
import json
import re
import zlib
from decimal import Decimal
from itertools import pairwise

import pytest

from rfcal.cli import main
from rfcal.report import verify as verifying
from rfcal.report.verify import verify_file


@pytest.fixture
def output(small, report_of_files):
    """What was written about the record of files, which nobody changes."""
    return report_of_files


@pytest.fixture
def edited(output, tmp_path):
    """A page in which one text stands in another's place."""

    def edit(old, new, count=1):
        text = (output / "report.html").read_text()
        assert old in text
        (tmp_path / "report.html").write_text(text.replace(old, new, count))
        return verify_file(tmp_path / "report.html")

    return edit


def answer(output):
    text = (output / "report.html").read_text()
    return re.search(r"R ([\d.]+) ±", text)[1]


def test_what_rfcal_wrote_follows(output, capsys):
    for name in ("report.html", "results.json"):
        assert main(["verify", str(output / name)]) == 0
        assert f"{name} follows from the record" in capsys.readouterr().out
    found = verify_file(output / "results.json", output / "report.html")
    assert found.numbers > 100
    assert not found.differences


def test_of_a_folder_its_page_is_verified(output, tmp_path, capsys):
    assert main(["verify", str(output)]) == 0
    assert " follows from the record" in capsys.readouterr().out
    assert main(["verify", str(tmp_path)]) == 2
    assert "report.html: cannot be read" in capsys.readouterr().err


def test_an_edited_headline_is_told(edited, output):
    value = answer(output)
    (said,) = edited(f">R {value}", ">R 29.9").differences
    assert said == f"it says 'R 29.9', and the record gives 'R {value}'"


def test_an_edited_reading_is_told_before_what_follows_from_it(output, tmp_path, capsys):
    text = (output / "report.html").read_text()
    found = re.search(r'id="record"[^>]*>(.*?)</script>', text, re.DOTALL)
    packed = json.loads(found[1])
    name = next(key for key in packed if key.endswith("device.s1p"))
    lines = zlib.decompress(base64.b64decode(packed[name])).decode().splitlines()
    row = len(lines) // 2
    lines[row] = " ".join([lines[row].split()[0], "0.5", "0.1"])
    packed[name] = base64.b64encode(zlib.compress("\n".join(lines).encode())).decode()
    page = tmp_path / "report.html"
    page.write_text(text[: found.start(1)] + json.dumps(packed) + text[found.end(1) :])
    assert main(["verify", str(page)]) == 1
    said = capsys.readouterr().out.splitlines()
    assert "does NOT follow" in said[0]
    assert f"{name} inside is not what the page was made from" in said[1]
    assert main(["unpack", str(page), str(tmp_path / "back")]) == 2
    assert "other fingerprints" in capsys.readouterr().err


def test_a_hash_that_no_longer_fits_is_told(edited, output):
    text = (output / "report.html").read_text()
    digest = re.search(r"<code>([0-9a-f]{64})</code>", text)[1]
    (said,) = edited(digest, "0" * 64).differences
    assert "its SHA-256 differs" in said


def test_a_changed_picture_and_a_changed_style_are_told(edited):
    assert "the picture 'Reflection chart" in edited("<path ", '<path opacity="0" ').differences[0]
    (said,) = edited("#0072B2", "#0072B3").differences
    assert "not text" in said


def test_changed_curves_of_the_slider_are_told(edited):
    (said,) = edited('"re": [', '"re": [0.5, ').differences
    assert said == "the curves that its slider moves were changed"


def test_a_sentence_left_out_is_told(edited):
    sentence = "95 % of such intervals hold the true value, R and X each by itself."
    (said,) = edited(sentence, "").differences
    assert "such intervals" in said


def test_other_versions_may_differ_in_the_last_digit(output, tmp_path):
    text = (output / "report.html").read_text()
    value = answer(output)
    near, far = f"{float(value) + 0.01:.2f}", f"{float(value) + 0.05:.2f}"
    page = tmp_path / "report.html"
    for other, count, name in ((near, 0, "numpy"), (far, 1, "matplotlib")):
        changed = text.replace(f">R {value}", f">R {other}").replace(f"{name} ", f"{name} 0.", 1)
        page.write_text(changed)
        found = verify_file(page)
        assert len(found.differences) == count
        assert f"{name} 0." in found.other_versions
        assert ("not compared" in [*found.lines("report.html")][-1]) == (name == "matplotlib")


@pytest.fixture
def elsewhere(reported, computed, monkeypatch):
    """A page that other versions made, and what comes of checking what somebody made of it."""
    shown = (reported("sensor-coil") / "report.html").read_text()
    monkeypatch.setattr(verifying, "page", lambda results: shown)

    def differences(text):
        return verifying._verify_page(text, computed("sensor-coil")).differences

    return shown.replace("numpy ", "numpy 0."), differences


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("</style>", ".warning, .note { display: none; }</style>", "not text"),
        ('<p class="quiet">', '<p class="quiet" hidden>', "not text"),
        ("const FACTOR = 0.66;", "const FACTOR = 0.99;", "not text"),
        ("</html>", "</html>R = 50 ohm", "R = 50 ohm"),
        ("<main>", "<!--<svg>-->R = 50 ohm<!--</svg>--><main>", "R = 50 ohm"),
        ("<main>", "<main><svg><text>R = 50 ohm</text></svg>", "picture"),
        ("sensor: R 2.47", "sensor: R 50.47", "50.47"),
        ("sensor: R 2.47", "sensor: R 2.48", ""),
        ('"re": [', '"re": [0.5, ', "curves"),
        ("numpy 0.", "numpy 0. R is 50 ohm. ", "numpy 0."),
        ("<path ", "<path/><path ", "picture"),
        ("</main>", "", "not text"),
    ],
)
def test_other_versions_excuse_a_last_digit_and_nothing_else(elsewhere, old, new, told):
    text, differences = elsewhere
    assert not differences(text)
    assert old in text
    found = differences(text.replace(old, new, 1))
    assert bool(found) == bool(told)
    assert told in " ".join(found)


def test_each_text_that_is_edited_left_out_or_exchanged_is_told(elsewhere):
    text, differences = elsewhere
    end = text.index('<script type="application/json" id="curves"')
    shown = [m for m in re.finditer(r">([^<>]*\w[^<>]*)<", text) if "{" not in m[1]]
    shown = [m for m in shown if m.end() < end and "Computed by" not in m[1]]
    assert len(shown) > 150
    for first, then in pairwise(shown[::5]):
        between = text[first.end(1) : then.start(1)]
        digit = re.sub(r"\d", lambda m: str((int(m[0]) + 5) % 10), first[1], count=1)
        for one, other in (("", then[1]), (digit, then[1]), (then[1], first[1])):
            changed = text[: first.start(1)] + one + between + other + text[then.end(1) :]
            if (one, other) != (first[1], then[1]) and first[1] != then[1]:
                assert differences(changed), (one, other)


def test_an_edited_number_of_results_json_is_told(filed, output, tmp_path, capsys):
    shown = json.loads((output / "results.json").read_text())
    shown["measurements"][0]["impedance_ohm"][3][0] += 1
    file = tmp_path / "results.json"
    file.write_text(json.dumps(shown))
    (said,) = verify_file(file, output / "report.html").differences
    assert said.startswith("measurements[0].impedance_ohm[3][0] is ")
    assert main(["verify", str(file)]) == 2
    assert "it carries no readings" in capsys.readouterr().err
    for text in ('{"a": 1, "a": 2}', '{"software": [1]}', '{"software": {}}', "[1, 2"):
        file.write_text(text)
        assert main(["verify", str(file), str(filed)]) == 2
        assert "rfcal: " in capsys.readouterr().err
    shown["software"]["numpy"] = "0"
    shown["measurements"][0]["impedance_ohm"][3][0] = float("1e300")
    shown["measurements[0].impedance_ohm[3][0]"] = 30.0
    file.write_text(json.dumps(shown).replace("1e+300", "1e999999999"))
    assert main(["verify", str(file), str(filed)]) == 1
    assert "measurements[0].impedance_ohm[3][0] is 1E+999999999" in capsys.readouterr().out
    file.write_text("[1, 2")
    assert main(["verify", str(file), str(filed)]) == 2
    assert "no results.json" in capsys.readouterr().err


def test_an_older_results_json_may_say_the_same_at_each_point_and_in_more_digits(output, tmp_path):
    shown = json.loads((output / "results.json").read_text())
    points = len(shown["calibration"]["frequency_hz"])
    device, file = shown["measurements"][0], tmp_path / "results.json"
    assert shown["calibration"]["residual"]["open"] == [0, 0]
    shown["calibration"]["residual"]["open"] = [[-9e-17, 2e-17]] * points
    constant = next(one for one in device["budget"] if not isinstance(one["share_r"], list))
    constant["share_r"] = [constant["share_r"]] * points
    file.write_text(json.dumps(shown))
    assert not verify_file(file, output / "report.html").differences
    shown["calibration"]["residual"]["open"] = [[-9e-17, 2e-17]] * (points - 1) + [[1e-6, 0]]
    file.write_text(json.dumps(shown))
    (said,) = verify_file(file, output / "report.html").differences
    assert said.startswith(f"calibration.residual.open[{points - 1}][0] is 0.000001")


@pytest.mark.parametrize(
    ("shown", "given", "same"),
    [
        ("39.80083059128613", "39.80083", True),
        ("0.04260659213003207", "0.0426066", True),
        ("0.04260759213003207", "0.0426066", False),
        ("0.0523", "0.05", False),
        ("-9e-17", "0", True),
        ("1e-9", "0", False),
        ("5", "7", False),
    ],
)
def test_more_digits_of_the_same_number_are_no_difference(shown, given, same):
    assert verifying._rounded(Decimal(shown), Decimal(given)) == same
