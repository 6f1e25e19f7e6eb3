"""``[match]`` in a record: ranked networks in results, page and files, and what is refused."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest

from rfcal.cli import main
from rfcal.errors import MatchingError, RfcalError
from rfcal.feedline.power import loss_db
from rfcal.matching import designs
from rfcal.matching.bode_fano import Limit
from rfcal.matching.designs import Point
from rfcal.matching.network import Network
from rfcal.matching.parts import Capacitor, Inductor, Stub, preferred, preferred_below
from rfcal.matching.stock import Stock
from rfcal.matching.tolerance import as_built
from rfcal.matching.topologies import PLACES, as_printed
from rfcal.maths.reflection import from_impedance, swr, to_impedance
from rfcal.measurement.propagate import propagate
from rfcal.models.line import Line
from rfcal.record.export import results_json
from rfcal.record.findings.match import about_match, about_matches
from rfcal.record.job import match as match_job
from rfcal.record.job.compute import compute
from rfcal.record.job.match import SHOWN
from rfcal.record.results import Advice
from rfcal.report.figures import match as match_plots
from rfcal.report.page import page
from rfcal.report.text import match as match_words
from rfcal.report.text.build import BUILDS
from tests.built_networks import two_port
from tests.record.conftest import BOX, DEVICE_OHM, FREQUENCY, MATCH, bend, touchstone, write
from tests.record.test_refusals import refused


def test_what_is_proposed_matches_the_device(asked):
    results = compute(asked)
    (result,) = results.matches
    assert 0 < len(result.proposals) <= SHOWN
    for proposal in result.proposals:
        network = proposal.candidate.network
        seen = network.seen(FREQUENCY, np.full(41, DEVICE_OHM), z_ref=50.0)
        inside = (FREQUENCY >= 54e6) & (FREQUENCY <= 56e6)
        assert proposal.candidate.worst_swr == pytest.approx(swr(seen[inside]).max(), rel=0.02)
        assert proposal.candidate.meets
        assert 0 < proposal.candidate.loss_db < 0.5
        assert 0.9 < proposal.production.both <= 1
        # a share of 4,000 draws is off by 0.8 % at most, in one standard deviation
        assert proposal.production.standard_uncertainty < 0.008
        # 5 W into 50 ohm are 22.4 V peak
        assert 5 < proposal.volt.max() < 100
    assert "match-target" not in {f.code for f in results.findings}


def test_page_terminal_and_json(asked, tmp_path, capsys):
    assert main(["report", str(asked), "--output", str(tmp_path / "o")]) == 0
    said = capsys.readouterr().out
    assert "match of 'device' at the device, to 50 ohm at 55 MHz" in said
    page = (tmp_path / "o/report.html").read_text()
    assert "Matching device" in page
    assert "what it moves" in page
    (match,) = json.loads((tmp_path / "o/results.json").read_text())["match"]
    first = match["networks"][0]
    keys = {"topology", "parts", "swr_at_frequency", "worst_swr_in_band", "loss_db", "yield"}
    assert keys | {"volts_peak", "amps_peak"} <= set(first)
    assert {"role", "ideal", "chosen", "unit"} <= set(first["parts"][0])
    assert {part["unit"] for part in first["parts"]} == {"H", "F"}


def test_swr_between_points_is_that_of_the_load_there(asked):
    """A reflection that turns through a match between two points: its SWR is no mean of theirs."""
    omega = 2 * np.pi * FREQUENCY
    write(asked, "device", from_impedance(30 + 1j * (omega - 2 * np.pi * 55.1e6) * 2e-6))
    bend(asked, "frequency_mhz = 55", "frequency_mhz = 55.1")
    results = compute(asked)
    (match,) = json.loads(b"".join(results_json(results)))["match"]
    candidate, goal = results.matches[0].proposals[0].candidate, results.matches[0].goal
    there = two_port(candidate.network, 55.1e6).input_impedance(goal.centre_load())
    assert match["networks"][0]["swr_at_frequency"] == pytest.approx(swr(from_impedance(there)))
    assert match["networks"][0]["swr_at_frequency"] < np.interp(55.1e6, FREQUENCY, candidate.swr)


def test_power_calls_for_a_caution(asked):
    bend(asked, "power_w = 5", "power_w = 100")
    found = next(f for f in compute(asked).findings if f.code == "match-voltage")
    assert "exposure limits and local codes" in found.message
    assert "use parts that stand it" in found.message
    # 12 W into 50 ohm are 35 V peak: what stands that is every part
    bend(asked, "power_w = 100", "power_w = 12")
    found = next(f for f in compute(asked).findings if f.code == "match-voltage")
    assert "parts that stand it" not in found.message
    bend(asked, "power_w = 12", "power_w = 100")
    bend(asked, "power_w = 100", "power_w = 0.5")
    assert "match-voltage" not in {f.code for f in compute(asked).findings}


def test_what_is_dangerous_and_what_is_unknown_is_said_once_for_all_matches(asked):
    with (asked / "record.toml").open("a") as file:
        file.write(MATCH.replace("[match]", "[[match]]").replace("[54, 56]", "[54.5, 55.5]"))
    bend(asked, "[match]", "[[match]]")
    text = (asked / "record.toml").read_text()
    (asked / "record.toml").write_text(text.replace("power_w = 5", "power_w = 100"))
    results = compute(asked)
    assert len(results.matches) == 2
    (found,) = (f for f in results.findings if f.code == "match-voltage")
    assert "peak in network 1 for 'device', and across a coil" in found.message
    assert page(results).count("exposure limits and local codes.</p>") == 1
    write(asked, "device", np.full(41, from_impedance(0.1 - 900j)))
    found = [f.message for f in compute(asked).findings if f.code == "match-unknown"]
    for said, band in zip(found, ("54 to 56", "54.5 to 55.5"), strict=True):
        assert f"its R may as well be zero or below it from {band} MHz. To know it, take" in said


def test_a_sweep_after_building_without_a_name_is_taken_to_be_of_the_first_and_that_is_said(asked):
    with (asked / "record.toml").open("a") as file:
        file.write('built = "raw/device.s1p"\n')
    (result,) = compute(asked).matches
    verdict, taken, *_ = match_words.match_after(result)
    parts = ", ".join(e.in_words() for e in result.proposals[0].candidate.network.elements)
    assert f" of {parts} is taken to be what was built, for it is the first of the" in taken
    assert match_words.match_head(result)[0] == verdict
    assert verdict == result.after.trimming.message


@pytest.mark.parametrize("between", [", ", ", then "])
def test_parts_are_read_as_the_page_and_the_terminal_print_them(asked, between):
    (result,) = compute(asked).matches
    row = match_words.match_row(result.proposals[0])
    printed = row["parts"].replace(", ", between)
    name, text = row["network"], (asked / "record.toml").read_text()
    for parts in (f'"{printed}"', json.dumps(row["parts"].split(", "))):
        built = f'built = {{topology = "{name}", parts = {parts}, reading = "raw/device.s1p"}}\n'
        (asked / "record.toml").write_text(text + built)
        (again,) = compute(asked).matches
        values = result.proposals[0].candidate.network.values
        assert again.after.network.values == pytest.approx(values)
    other = printed.replace("shunt", "series")
    built = f'built = {{topology = "{name}", parts = "{other}", reading = "raw/device.s1p"}}\n'
    (asked / "record.toml").write_text(text + built)
    with pytest.raises(RfcalError, match="is no part that can lie here in shunt"):
        compute(asked)


def test_what_a_joint_carries_to_ground_is_what_a_network_stands(asked):
    """At 100 W 3 A go into 22 ohm: with X = 104 ohm 320 V at the device, more than at a coil."""
    bend(asked, "power_w = 5", "power_w = 100")
    bend(asked, "band_mhz = [54, 56]", "band_mhz = [54.95, 55.05]")
    write(asked, "device", from_impedance(22 + 104j * FREQUENCY / 55e6))
    results = compute(asked)
    proposal = next(p for p in results.matches[0].proposals if p.volt.max() < 260)
    assert proposal.highest_volt == pytest.approx(320, rel=0.05)
    assert match_words.match_row(proposal)["volt"].startswith(f"{proposal.highest_volt:.0f} V")
    found = next(f.message for f in results.findings if f.code == "match-voltage")
    assert f"up to {results.matches[0].proposals[0].highest_volt:.0f} V and" in found


def test_little_current_is_not_told_as_none(asked):
    bend(asked, "power_w = 5", "power_w = 0.01")
    row = match_words.match_row(compute(asked).matches[0].proposals[0])
    assert re.search(r"V, 0\.0[1-9]\d? A$", row["volt"])


def test_what_is_warned_of_is_what_the_first_network_carries(asked):
    """And where that is little, the first of the list that carries much."""
    bend(asked, "power_w = 5", "power_w = 2")
    (result,) = compute(asked).matches
    cool = result.proposals[0]
    warm, hot = (replace(cool, volt=np.full(2, volt)) for volt in (70.0, 700.0))
    for listed, number in (((warm, hot), 1), ((cool, warm, hot), 2)):
        (found,) = about_matches([replace(result, proposals=listed)])
        assert found.message.startswith("At 2 W there are up to 70 V and")
        assert f"in network {number} for 'device', and" in found.message


def test_what_is_in_series_in_a_device_carries_its_current(asked):
    """2 ohm at 1 W: 1 A peak, and 10 V at the network; a capacitor of 120 ohm stands 120 V."""
    bend(asked, "power_w = 5", "power_w = 1")
    write(asked, "device", np.full(41, from_impedance(2 + 1.5j)))
    results = compute(asked)
    found = next(f.message for f in results.findings if f.code == "match-voltage")
    assert "times the current there (100 ohm at 1 A peak make 100 V): " in found
    assert "burn fingers" in found
    bend(asked, "power_w = 1", "power_w = 9")
    found = next(f.message for f in compute(asked).findings if f.code == "match-voltage")
    assert "use parts that stand it, enclose them" in found
    said = "\n".join(match_words.match_lines(compute(asked).matches[0]))
    assert re.search(
        r"C1, .* A peak at 9 W\): mica or C0G \(NP0\), several that make \d+ pF together", said
    )


def test_what_power_was_taken_is_said_where_none_is_stated(asked):
    """The square root of a hundred is ten: volts at 100 W are ten times those at 1 W."""

    def said():
        results = compute(asked)
        (usual,) = (f.message for f in results.findings if f.code == "defaults")
        return "\n".join(match_words.match_lines(results.matches[0])) + page(results), usual

    stated, usual = said()
    assert "states no power_w" not in stated
    assert "power_w" not in usual
    bend(asked, "power_w = 5\n", "")
    unstated, usual = said()
    assert "A peak at 1 W, as the record states no power_w)" in unstated
    assert "1 W, as the record states no power_w; at 100 W volts and amperes are ten ti" in unstated
    assert "match of 'device': power_w 1 W" in usual


def test_where_nothing_is_needed_no_network_is_warned_of(asked):
    bend(asked, 'power_w = 5\ntopologies = ["L"]', "power_w = 50")
    write(asked, "device", np.full(41, from_impedance(35 + 3j)))
    results = compute(asked)
    (result,) = results.matches
    assert result.advice is Advice.NOTHING
    assert result.proposals
    assert "match-voltage" not in {f.code for f in results.findings}


def test_a_sweep_after_building_on_other_points_is_refused(asked, capsys, tmp_path):
    after = touchstone(FREQUENCY[1:], BOX.apply(np.full(40, 0.1 + 0j)))
    (asked / "raw/after.s1p").write_text(after)
    bend(asked, MATCH, MATCH + 'built = "raw/after.s1p"\n')
    refused(asked, ["[match] 1 built", "40", "41", "'device'"], capsys, tmp_path)


def test_a_target_out_of_reach_is_said(asked):
    rising = 1 / (1 / 200 + 2j * np.pi * FREQUENCY * 1e-10)
    write(asked, "device", from_impedance(rising))
    bend(asked, "band_mhz = [54, 56]", "band_mhz = [50, 60]\ntarget_swr = 1.1")
    results = compute(asked)
    (found,) = (f.message for f in results.findings if f.code == "match-target")
    assert "over the band" in found
    said = "\n".join(match_words.match_lines(results.matches[0]))
    assert "limit of Bode and Fano" in said
    assert re.search(r"One made for less holds it over \d+ kHz of the 10000 kHz asked: ask", found)


def test_what_is_said_of_all_networks_is_not_said_of_each(asked):
    """A load that moves a little too far for every L section, and sets no limit to others."""
    write(asked, "device", from_impedance(20 + 40j + 2j * np.pi * (FREQUENCY - 55e6) * 6e-6))
    bend(asked, "band_mhz = [54, 56]", "band_mhz = [54.4, 55.6]")
    results = compute(asked)
    (result,) = results.matches
    (found,) = (f.message for f in results.findings if f.code == "match-target")
    said = "\n".join([*match_words.match_head(result), *match_words.match_lines(result)])
    assert result.proposals
    assert result.proposals[0].production.both == 0
    assert "0% of such networks" not in said
    narrow = replace(result, limit=Limit(0.0))
    assert not any("limit" in remark for remark in match_words.match_remarks(narrow))
    # what is told to ask for is held
    words = r"holds it over ([\d.]+) kHz of the 1200 kHz asked: ask for ([\d.]+) to ([\d.]+) MHz"
    width, low, high = map(float, re.search(words, found).groups())
    assert width == pytest.approx(1e3 * (high - low))
    bend(asked, "band_mhz = [54.4, 55.6]", f"band_mhz = [{low}, {high}]")
    assert "match-target" not in {f.code for f in compute(asked).findings}


def test_of_networks_that_miss_the_first_is_the_one_that_is_better_as_built(asked):
    """Of two L sections one delivers more as drawn; within the parts' tolerance the other does."""
    load = 6.92 + 123.95j + 2j * np.pi * (FREQUENCY - 55e6) * 1.516e-6
    write(asked, "device", from_impedance(load))
    bend(asked, "band_mhz = [54, 56]", "band_mhz = [54.4, 55.6]\ntarget_swr = 1.3")
    (result,) = compute(asked).matches
    first, second = result.proposals
    assert first.candidate.lost_db > second.candidate.lost_db + 0.1
    band, rng = (*result.goal.in_band(), 50.0), np.random.default_rng(1)
    made = (as_built(p.candidate.network, result.request.stock, rng, 4000) for p in (first, second))
    half = [np.median(one.heights(*band)[1]) for one in made]
    assert half[0] < half[1] - 0.1
    assert [p.lost_db for p in (first, second)] == pytest.approx(half, abs=0.05)
    head, *_ = match_words.match_head(result)
    assert head.startswith("none of these networks holds SWR 1.3; if you build one, build this, fr")
    said = "\n".join(match_words.match_lines(result))
    arrives = f"{10 ** (-first.lost_db / 10):.0%} or less with half of those built"
    assert f"of the power arrives, {arrives}" in said
    assert arrives in page(compute(asked))


def test_no_limit_where_the_model_is_not_the_load(asked, tmp_path):
    omega = 2 * np.pi * FREQUENCY
    tank = 30 + 1j * (omega * 1e-6 - 1 / (omega * 8.37e-12))
    write(asked, "device", from_impedance(1 / (1 / 100 + 1 / tank)))
    bend(asked, "band_mhz = [54, 56]", "band_mhz = [51, 59]\ntarget_swr = 2.1")
    results = compute(asked)
    assert "limit" not in "\n".join(match_words.match_remarks(results.matches[0]))
    assert match_words.match_row(results.matches[0].proposals[0], results.matches[0].limit)[
        "limit"
    ] == ("not known")
    (match,) = json.loads(b"".join(results_json(results)))["match"]
    assert match["limit_swr"] is None
    assert match["networks"][0]["share_of_limit"] is None


def test_where_there_is_no_network_at_all(asked):
    bend(
        asked,
        'topologies = ["L"]',
        'topologies = ["series stub"]\nlines = [{z0_ohm = 0.1, velocity_factor = 0.7, '
        "loss_db_per_100m = [[1.0, 5.0]]}]",
    )
    bend(asked, "power_w = 5", "power_w = 50")
    results = compute(asked)
    assert not results.matches[0].proposals
    (found,) = (f for f in results.findings if f.code == "match-none")
    assert "match-voltage" not in {f.code for f in results.findings}
    assert found.message.startswith("There is no network of these topologies")
    assert "inf" not in found.message
    assert results.matches[0].ranking.refused


def test_what_is_far_off_the_target_is_not_offered_and_that_is_said(asked):
    """A load that no L section holds over so wide a band; what can be held is said instead."""
    write(asked, "device", from_impedance(10 + 60j + 4e-6j * np.pi * (FREQUENCY - 55e6)))
    bend(asked, "band_mhz = [54, 56]", "band_mhz = [50, 60]")
    results = compute(asked)
    (result,) = results.matches
    assert result.ranking.short()[-1].worst_swr > 14
    assert not result.proposals
    (said,) = match_words.match_head(result)
    assert said.startswith("nothing is offered: without a network 11% of the power arrives, and")
    assert f"  {said}" in match_words.match_lines(result)
    assert f"N{said[1:]}" in page(results)
    (found,) = (f.message for f in results.findings if f.code == "match-target")
    assert "that one comes to is 11.1, too far off to be offered. One made for less holds" in found
    assert "match-voltage" not in {f.code for f in results.findings}
    low, high = re.search(r"ask for ([\d.]+) to ([\d.]+) MHz", found).groups()
    bend(asked, "band_mhz = [50, 60]", f"band_mhz = [{low}, {high}]")
    assert "match-target" not in {f.code for f in compute(asked).findings}


def test_how_narrow_a_band_must_be_is_said_where_no_network_can_hold_it(asked):
    omega = 2 * np.pi * FREQUENCY
    write(asked, "device", from_impedance(10 + 1j * (omega * 1.1e-6 - 1e11 / omega)))
    bend(asked, "band_mhz = [54, 56]", "band_mhz = [50, 60]")
    results = compute(asked)
    (result,) = results.matches
    (said,) = match_words.match_head(result)
    assert said.startswith("ask for a band of less than about 2.8 MHz: over more no network"), said
    swr_words = f"{result.limit.swr:.2f}"
    limit = f"no network without loss can hold a lower SWR over this band than {swr_words}"
    assert re.search('class="answer fault">\\s*<[^>]*>Matching', page(results))
    assert any(remark.startswith(limit) for remark in match_words.match_remarks(result))
    (found,) = (f.message for f in results.findings if f.code == "match-target")
    assert (
        "far off to be offered. One made for less holds it over 600 kHz of the 10000 kHz" in found
    )


def test_a_sweep_in_steps_too_wide_for_its_load(asked):
    omega = 2 * np.pi * FREQUENCY
    write(asked, "device", from_impedance(30 + 1j * (omega * 2e-5 - 1 / (omega * 4.19e-13))))
    results = compute(asked)
    found = next(f for f in results.findings if f.code == "match-step")
    assert found.message.startswith("Measure the load in steps of 0.07 MHz or less before you")
    assert "so far in the band from one point" in found.message
    assert not results.matches[0].proposals
    assert match_words.match_head(results.matches[0]) == [
        "build nothing yet: the load moves too far from one point of the sweep to the next; "
        "measure it in steps of 0.07 MHz or less"
    ]
    bend(asked, "frequency_mhz = 55\nband_mhz = [54, 56]\n", "frequency_mhz = 55.1\n")
    found = next(f for f in compute(asked).findings if f.code == "match-step")
    assert "so far around 55.1 MHz from one point" in found.message
    assert "band" not in found.message
    bend(asked, "frequency_mhz = 55.1", "frequency_mhz = 55")
    write(asked, "device", np.full(41, from_impedance(DEVICE_OHM)))
    assert "match-step" not in {f.code for f in compute(asked).findings}


def test_a_device_that_needs_no_network(asked):
    write(asked, "device", np.full(41, 0.0))
    bend(asked, "band_mhz = [54, 56]\n", "")
    results = compute(asked)
    assert not results.matches[0].proposals
    assert "match-target" not in {f.code for f in results.findings}
    assert "needs no network" in results.matches[0].ranking.refused["L"]


def test_a_path_loss_that_cannot_be_told(asked):
    (result,) = compute(asked).matches
    said = match_words.match_remarks(replace(result, path_db=float("nan")))
    assert said[0] == "what the path itself still loses with the match at the device cannot be told"


def behind_line(folder, line, place, ohm=DEVICE_OHM):
    """The device behind 10 m of a line that the record knows, matched at a place."""
    far = np.full(41, from_impedance(ohm))
    write(folder, "device", line.two_port(FREQUENCY).bilinear().apply(far))
    losses = [[f, float(line.loss_db_per_100m(f * 1e6))] for f in (1, 10, 100)]
    between = (
        f'[[measurement.between]]\nline = "mine"\nlength_m = {line.length_m}\n'
        f"velocity_factor = {line.velocity_factor}\nz0_ohm = {line.z0}\n"
        f"loss_db_per_100m = {losses}\nlength_uncertainty_m = 0.001\n"
        "velocity_factor_uncertainty = 0.0001\nz0_uncertainty_ohm = 0.1\n"
    )
    text = (folder / "record.toml").read_text().replace("\n[match]", f"\n{between}[match]")
    (folder / "record.toml").write_text(text + f"place = {place}\n")


def on_line(network, line, from_load_m):
    """The network built into the line, with its pieces on both sides."""
    pieces = line.length_m - from_load_m, from_load_m
    before, beyond = [[("section", replace(line, length_m=m))] if m > 0 else [] for m in pieces]
    inside = [(e.place, e.part) for e in network.elements]
    return Network.of("whole", [*before, *inside, *beyond])


COAX, LADDER = Line(10.0, 0.66, 50.0, 0.6, 0.01), Line(10.0, 0.92, 450.0, 0.1)
WALKED = {'"device"': 0.0, '"calibration plane"': 10.0, "[4.0]": 4.0}


@pytest.mark.parametrize("line", [COAX, LADDER])
@pytest.mark.parametrize("place", WALKED)
def test_places_on_the_line(asked, line, place):
    """Loss, and SWR at the plane, against the network built into the line."""
    behind_line(asked, line, place)
    results = compute(asked)
    (result,) = results.matches
    walked = WALKED[place]
    expected = line.two_port(FREQUENCY, np.full(41, walked)).input_impedance(DEVICE_OHM)
    assert result.goal.load == pytest.approx(expected, rel=1e-6)
    pieces = (walked, DEVICE_OHM), (10 - walked, 50.0)
    lost = sum(loss_db(replace(line, length_m=m), [55e6], ohm)[0] for m, ohm in pieces)
    assert result.path_db == pytest.approx(lost, rel=1e-3)
    codes = {f.code for f in results.findings}
    if walked == 10:
        assert result.plane_swr is None
        assert "match-plane" not in codes
        return
    whole = on_line(result.proposals[0].candidate.network, line, walked)
    inside = (FREQUENCY >= 54e6) & (FREQUENCY <= 56e6)
    seen = swr(whole.seen(FREQUENCY, np.full(41, DEVICE_OHM))[inside]).max()
    assert result.plane_swr == pytest.approx(seen, rel=1e-3)
    assert ("match-plane" in codes) == (line is LADDER)
    said = "the standards' plane sees SWR" in "\n".join(match_words.match_remarks(result))
    assert said == (line is LADDER)


def test_a_place_that_is_not_on_the_line_is_refused(asked):
    behind_line(asked, COAX, "[11.0]")
    with pytest.raises(RfcalError, match="11 m from the load is not on a line of 10 m"):
        compute(asked)


def test_a_place_on_what_is_not_a_line_known_by_its_figures_is_refused(asked):
    with (asked / "record.toml").open("a") as file:
        file.write("place = [4.0]\n")
    with pytest.raises(RfcalError, match="needs the line's figures"):
        compute(asked)


def test_a_velocity_factor_counts_for_the_piece_before_the_network_alone(asked):
    """What it turns at the plane is 2 b l: 6 m of 10, as the 4 m behind belong to the load."""
    behind_line(asked, COAX, "[4.0]")
    bend(asked, "velocity_factor_uncertainty = 0.0001", "velocity_factor_uncertainty = 0.01")
    results = compute(asked)
    (device,), (result,) = results.devices, results.matches
    turned = []
    for inputs in (match_job._parted(result.request, device.inputs)[0], device.inputs):
        reflection = propagate(inputs)
        (variance,) = (v for k, v in reflection.by_source().items() if "velocity factor" in k)
        turned.append(np.sqrt(np.trace(variance, axis1=1, axis2=2)) / np.abs(reflection.value))
    assert turned[0] == pytest.approx(0.6 * turned[1], rel=0.02)


@pytest.mark.parametrize("line", [COAX, LADDER])
@pytest.mark.parametrize("place", WALKED)
def test_trimming_through_what_lies_before_the_network(asked, line, place):
    """Both sweeps are taken at the plane; what is known to lie between is taken away."""
    behind_line(asked, line, place)
    network = compute(asked).matches[0].ranking.candidates[0].network
    with (asked / "record.toml").open("a") as file:
        file.write('built = "raw/after.s1p"\n')
    values = [float(e.value) for e in network.elements]
    for off, verdict in ((1.0, "as designed"), (1.3, "one part")):
        wrong = network.with_values([off * values[0], *values[1:]])
        whole = on_line(wrong, line, WALKED[place])
        write(asked, "after", whole.seen(FREQUENCY, np.full(41, DEVICE_OHM)))
        trimming = compute(asked).matches[0].after.trimming
        assert trimming.verdict == verdict
    assert trimming.off[0].name == network.elements[0].name
    assert trimming.off[0].change == pytest.approx(0.3, abs=0.05)


def test_the_part_that_is_off_is_found_after_building(asked):
    network = compute(asked).matches[0].proposals[0].candidate.network
    values = [float(e.value) for e in network.elements]
    k = next(i for i, e in enumerate(network.elements) if e.name == "C1")
    values[k] *= 1.2
    built = network.with_values(values).seen(FREQUENCY, np.full(41, DEVICE_OHM), z_ref=50.0)
    write(asked, "after", built)
    with (asked / "record.toml").open("a") as file:
        file.write('built = "raw/after.s1p"\n')
    trimming = compute(asked).matches[0].after.trimming
    assert trimming.verdict == "one part"
    assert "C1" in trimming.message
    assert trimming.off[0].change == pytest.approx(0.2, abs=0.03)


def test_another_network_of_the_list_is_named_where_that_was_built(asked):
    """The file alone is of the first; the second was built as it is printed."""
    bend(asked, 'topologies = ["L"]', 'topologies = ["L", "shunt stub"]')
    first, second, *_ = (p.candidate.network for p in compute(asked).matches[0].proposals)
    with (asked / "record.toml").open("a") as file:
        file.write('built = "raw/after.s1p"\n')
    for network, verdict in ((first, "as designed"), (second, "other network")):
        write(asked, "after", network.seen(FREQUENCY, np.full(41, DEVICE_OHM), z_ref=50.0))
        trimming = compute(asked).matches[0].after.trimming
        assert trimming.verdict == verdict
    assert trimming.message.startswith("name network 2 of the list in `built`")


def test_a_network_that_is_not_connected_is_no_part_that_is_off(asked):
    with (asked / "record.toml").open("a") as file:
        file.write('built = "raw/device.s1p"\n')
    message = compute(asked).matches[0].after.trimming.message
    assert message.startswith("look whether this is the right sweep, and whether the network was")


def test_a_match_for_a_device_to_which_something_was_added(asked):
    between = '[[measurement.between]]\nline = "RG-213"\nlength_m = 10\nadd = true\n'
    text = (asked / "record.toml").read_text().replace("\n[match]", f"\n{between}[match]")
    (asked / "record.toml").write_text(text)
    with pytest.raises(RfcalError, match="add = true"):
        compute(asked)


@pytest.mark.parametrize(
    ("key", "value", "closed"),
    [
        ("section_q", 4.0, designs.by_q(Point(55e6, DEVICE_OHM), shape="pi", q=4.0)),
        (
            "phase_deg",
            -70.0,
            designs.by_phase(Point(55e6, DEVICE_OHM), shape="pi", phase_rad=np.radians(-70.0)),
        ),
    ],
)
def test_a_chosen_q_or_phase_by_its_closed_form(asked, key, value, closed):
    bend(asked, 'topologies = ["L"]', f'topologies = ["pi"]\n{key} = {value}')
    results = compute(asked)
    (result,) = results.matches
    assert result.ranking.candidates
    for candidate in result.ranking.candidates:
        real, ideal = ([e.value for e in n.elements] for n in (candidate.network, candidate.ideal))
        exact = [[e.value for e in n.elements] for n in closed if n.topology == "pi"]
        assert any(ideal == pytest.approx(design, rel=1e-3) for design in exact)
        for one, design in zip(real, ideal, strict=True):
            assert one in preferred(preferred_below(design) + np.arange(-1, 3))
    (match,) = json.loads(b"".join(results_json(results)))["match"]
    assert match[key] == value
    assert f"{value:g}" in match_words.match_where(result)


@pytest.mark.parametrize(
    ("old", "new", "fragments"),
    [
        ('["L"]', '["pi"]\nsection_q = 0', ["section_q", "above 0"]),
        ('["L"]', '["pi"]\nphase_deg = 180', ["phase_deg", "half a turn"]),
        ('["L"]', '["pi"]\nphase_deg = 0', ["phase_deg", "half a turn"]),
        ('["L"]', '["pi"]\nphase_deg = -190', ["phase_deg", "above -180"]),
        ('["L"]', '["T"]\nphase_deg = 90\nsection_q = 3', ["phase_deg", "take out one"]),
        ('["L"]', '["L"]\nsection_q = 3', ["section_q", "no topology here"]),
        ("frequency_mhz = 55\n", "frequency_mhz = 80\n", ["[match] 1", "80 MHz", "50 to 60 MHz"]),
        ("band_mhz = [54, 56]", "band_mhz = [56, 54]", ["band_mhz", "ascend"]),
        ("band_mhz = [54, 56]", "band_mhz = 3", ["band_mhz", "[70.0, 70.5]"]),
        ("band_mhz = [54, 56]", "band_mhz = [54, 99]", ["[match] 1", "99 MHz"]),
        ('["L"]', '["M"]', ["topologies", "none of single, L"]),
        ('["L"]', '"L"', ["topologies", "list"]),
        ("power_w = 5", "power_w = 0", ["power_w", "at least"]),
        ("power_w = 5", 'series = "E13"', ["series", "none of E6"]),
        ("power_w = 5", 'place = "shack"', ["place", "calibration plane"]),
        ("power_w = 5", "place = [3.0]", ["[match] 1", "line = a type"]),
        ("power_w = 5", 'measurement = "x"', ["measurement", "none of device"]),
        ("power_w = 5", "target_swr = 1", ["target_swr", "above 1"]),
        ("power_w = 5", "watts = 1", ["watts", "nearest"]),
        ("power_w = 5", "q = 50", ["unknown key", "'inductor_q'"]),
    ],
)
def test_bad_matches(asked, capsys, tmp_path, old, new, fragments):
    bend(asked, old, new)
    refused(asked, fragments, capsys, tmp_path)


@pytest.mark.parametrize("reflection", [-1.0, 1.2])
def test_loads_that_nothing_matches(asked, reflection):
    write(asked, "device", np.full(41, complex(reflection)))
    results = compute(asked)
    assert not results.matches
    assert "match-unknown" in {f.code for f in results.findings}


def test_a_sweep_that_is_active_at_its_edge(asked):
    """Noise takes a nearly total reflection above 1 there: no number, and no warning either."""
    reflection = np.full(41, from_impedance(DEVICE_OHM))
    reflection[-3:] = 1.001j
    write(asked, "device", reflection)
    (result,) = compute(asked).matches
    assert result.proposals[0].candidate.at_1_5.high_hz < FREQUENCY[-3]


def test_walk_ends_where_the_network_is_seen(asked):
    result = compute(asked).matches[0]
    for proposal in result.proposals:
        network = proposal.candidate.network
        ways = match_plots.walk(network, 55e6, DEVICE_OHM, 50.0)
        seen = network.seen(np.array([55e6]), np.array([DEVICE_OHM]), z_ref=50.0)
        assert to_impedance(ways[0][0]) == pytest.approx(DEVICE_OHM)
        assert ways[-1][-1] == pytest.approx(complex(seen[0]), abs=1e-9)


def test_every_topology_is_drawn(asked):
    bend(asked, 'topologies = ["L"]\n', "")
    results = compute(asked)
    assert len(results.matches[0].proposals) == SHOWN
    for proposal in results.matches[0].proposals:
        match_plots.proposal_figure(results.matches[0], proposal).canvas.draw()
    assert "Matching device" in page(results)


def test_a_single_frequency(typed):
    with (typed / "record.toml").open("a") as file:
        file.write("\n[match]\nfrequency_mhz = 14.1\n")
    results = compute(typed)
    (result,) = results.matches
    assert result.limit is None
    assert result.proposals[0].candidate.worst_swr < 1.5
    assert "Matching device" in page(results)


def test_lines_of_ones_own_are_cut_and_said(asked, tmp_path, capsys):
    bend(
        asked,
        'topologies = ["L"]',
        'topologies = ["two sections", "quarter wave"]\nlines = ["foam 5 mm", {z0_ohm = 75, '
        "velocity_factor = 0.8, loss_db_per_100m = [[50.0, 6.0]]}]",
    )
    assert main(["report", str(asked), "--output", str(tmp_path / "o")]) == 0
    said = capsys.readouterr().out
    assert "cut from: 50 ohm, velocity factor 0.85" in said
    assert "75 ohm, velocity factor 0.8, 6.3 dB per 100 m" in said
    (match,) = json.loads((tmp_path / "o/results.json").read_text())["match"]
    cut = [p["line"] for n in match["networks"] for p in n["parts"] if p["line"]]
    assert {(line["z0_ohm"], line["velocity_factor"]) for line in cut} == {(50, 0.85), (75, 0.8)}


@pytest.mark.parametrize(
    ("value", "fragments"),
    [
        ('["RG-999"]', ["lines", "RG-999", "RG-213"]),
        ("[]", ["lines", "expected a list"]),
        ("[50.0]", ["lines", "entry 1"]),
        ("[{z0_ohm = 75, velocity_factor = 2.0}]", ["lines 1", "faster than light"]),
        ("[{z0_ohm = 75, velocity_factor = 0.7}]", ["lines 1", "loss_db_per_100m"]),
    ],
)
def test_bad_lines(asked, capsys, tmp_path, value, fragments):
    bend(asked, 'topologies = ["L"]', f"lines = {value}")
    refused(asked, fragments, capsys, tmp_path)


def test_without_a_frequency_the_answers_own_counts(asked):
    bend(asked, "frequency_mhz = 55\nband_mhz = [54, 56]\n", "")
    results = compute(asked)
    device = results.devices[0]
    assert results.matches[0].request.centre_hz == device.frequency[device.answer]


def test_a_frequency_outside_the_sweep(asked):
    bend(asked, "frequency_mhz = 55\nband_mhz = [54, 56]\n", "frequency_mhz = 70\n")
    with pytest.raises(RfcalError, match="70 MHz is outside the sweep, which has 50 to 60 MHz"):
        compute(asked)


def test_parasitics_of_the_parts_count(asked):
    """They are in the parts, and what is proposed still matches with them."""
    bend(
        asked, "power_w = 5", "power_w = 5\ninductor_parallel_f = 3e-12\ncapacitor_series_h = 8e-9"
    )
    network = compute(asked).matches[0].proposals[0].candidate.network
    parts = {e.name[0]: e.part for e in network.elements}
    assert (parts["L"].parallel_f, parts["C"].series_h) == (3e-12, 8e-9)
    seen = network.seen(np.array([55e6]), np.array([DEVICE_OHM]), z_ref=50.0)
    assert swr(seen)[0] < 1.5


def test_nothing_needed_is_said_first(asked, tmp_path, capsys):
    """60 ohm where SWR 1.5 is asked: what could be built stands below that."""
    write(asked, "device", np.full(41, from_impedance(60.0)))
    assert main(["report", str(asked), "--output", str(tmp_path / "o")]) == 0
    lines = capsys.readouterr().out.splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("match of"))
    assert lines[at + 1].startswith("  nothing is needed: as it is the load has SWR 1.20 at worst")
    written = (tmp_path / "o/report.html").read_text()
    assert "Nothing is needed: as it is the load has SWR 1.20" in written
    # no stub of a few millimetres, and no table of nothing
    assert "no network would bring 0.1 dB more to it" in written
    assert "parts, from the transmitter" not in written
    assert match_words.match_remarks(compute(asked).matches[0]) == []
    (match,) = json.loads((tmp_path / "o/results.json").read_text())["match"]
    assert match["nothing_needed"]
    assert match["raw_worst_swr"] == pytest.approx(1.2, rel=0.01)


def test_what_delivers_less_than_no_network_stands_below_a_line(asked):
    """58 ohm lose 0.02 dB by the mismatch; a stub of this cable loses more."""
    write(asked, "device", np.full(41, from_impedance(58.0)))
    bend(asked, 'topologies = ["L"]', 'topologies = ["L", "shunt stub"]\ntarget_swr = 1.1')
    said = match_words.match_lines(compute(asked).matches[0])
    line = next(i for i, text in enumerate(said) if "yet delivers less than none" in text)
    stubs = [i for i, text in enumerate(said) if ". shunt stub" in text]
    assert stubs
    assert min(stubs) > line


def test_a_network_that_loses_much_says_so_in_words(asked):
    write(asked, "device", np.full(41, from_impedance(20 - 60j)))
    bend(asked, "power_w = 5", "power_w = 5\ninductor_q = 10")
    result = compute(asked).matches[0]
    said = "\n".join(match_words.match_lines(result))
    loss = result.proposals[0].candidate.loss_db
    assert loss > 1
    assert f"network 1 loses {loss:.1f} dB in its parts: of 5 W into it" in said
    assert match_words.match_row(result.proposals[0], result.limit)["limit"] in (
        "no limit",
        "not told",
    )


@pytest.mark.parametrize(
    ("swr", "do"),
    [(1.5, "build network 1"), (1.05, "none of these networks holds SWR 1.05")],
)
def test_what_to_build_stands_above_the_networks_in_a_terminal_too(asked, swr, do):
    write(asked, "device", np.full(41, from_impedance(20 - 60j)))
    bend(asked, "power_w = 5", f"power_w = 5\ntarget_swr = {swr}")
    _, first, second, *_ = match_words.match_lines(compute(asked).matches[0])
    assert first.startswith(f"  {do}")
    assert second.startswith("  1. ")


def test_more_swr_at_the_plane_than_was_asked_is_a_remark(asked):
    """Also where the network sees hardly less: 1.547 is not 1.5."""
    behind_line(asked, COAX, '"device"')
    (result,) = compute(asked).matches
    worst = result.proposals[0].candidate.worst_swr
    beyond = replace(
        result, plane_swr=1.03 * worst, request=replace(result.request, target_swr=1.01 * worst)
    )
    assert not beyond.spoilt
    said = "\n".join(match_words.match_remarks(beyond))
    assert "the standards' plane sees SWR" in said
    assert f"where {beyond.request.target_swr:g} was asked" in said
    assert "match-plane" in {f.code for f in about_match(beyond)}


def test_a_load_that_needs_nothing_is_still_seen_through_its_line(asked):
    """A quarter wave of 75 ohm makes 108 ohm of 52, as 75^2 / 52."""
    quarter = Line(0.66 * 299792458 / 55e6 / 4, 0.66, 75.0, 0.1)
    behind_line(asked, quarter, '"device"', ohm=52.0)
    results = compute(asked)
    (result,) = results.matches
    assert result.ranking.nothing_needed
    assert result.plane_swr == pytest.approx(75**2 / 52 / 50, rel=0.02)
    (said,) = (f.message for f in results.findings if f.code == "match-plane")
    assert "in 50 ohm, as it is: what lies between has another impedance" in said
    assert "as it is the standards' plane sees SWR" in "\n".join(match_words.match_remarks(result))


def test_what_a_stub_in_series_needs_is_said_where_it_is_only_listed(asked):
    bend(asked, 'topologies = ["L"]', 'topologies = ["L", "pi", "T", "series stub"]')
    (result,) = compute(asked).matches
    floating = [i for i, p in enumerate(result.proposals, 1) if p.candidate.network.floats]
    assert floating
    assert min(floating) > BUILDS
    said = "\n".join(match_words.match_remarks(result))
    assert f"series of network {' and '.join(map(str, floating))}: it floats" in said
    assert "touch nothing" in said


BUILT = (
    'built = {topology = "L, series part at load, low-pass", parts = ["56 pF", "82 nH"], '
    'reading = "raw/after.s1p"}\n'
)


def built_as(folder, change=1.0):
    """The network of `BUILT`, its coil off, measured in the device's place."""
    parts = [("shunt", Capacitor(56e-12, 1e3)), ("series", Inductor(82e-9 * change, 100.0))]
    network = Network.of("L", parts)
    write(folder, "after", network.seen(FREQUENCY, np.full(41, DEVICE_OHM)))
    with (folder / "record.toml").open("a") as file:
        file.write(BUILT)


def test_what_was_built_is_named_and_need_not_be_the_first(asked):
    """The list has other values; the sweep is held against what was built."""
    built_as(asked, 0.8)
    (result,) = compute(asked).matches
    listed = {tuple(e.in_words() for e in p.candidate.network.elements) for p in result.proposals}
    assert ("56 pF", "82 nH") not in listed
    after = result.after
    assert [e.in_words() for e in after.network.elements] == ["56 pF", "82 nH"]
    assert after.trimming.verdict == "one part"
    assert after.trimming.off[0].name == "L1"
    assert "squeeze L1 by about" in after.trimming.message
    seen = after.network.seen(FREQUENCY, np.full(41, DEVICE_OHM))
    assert after.made.candidate.swr == pytest.approx(swr(seen), rel=0.02)
    does, said = match_words.match_after(result)
    assert does == after.trimming.message
    assert said.startswith("after building L, series part at load, low-pass of 56 pF, 82 nH: worst")
    (match,) = json.loads(b"".join(results_json(compute(asked))))["match"]
    assert match["trim"]["parts"] == ["56 pF", "82 nH"]
    hot = replace(after.made, volt=np.full(2, 70.0))
    (found,) = about_matches([replace(result, after=replace(after, made=hot))])
    assert found.message.startswith("At 5 W there are up to 70 V and")
    assert "in the network built for 'device', and" in found.message


def test_what_was_built_is_typed_as_any_reading_is(asked):
    """Off the display the same is said as of the file."""
    built_as(asked, 0.8)
    said = compute(asked).matches[0].after.trimming
    columns = np.loadtxt(asked / "raw/after.s1p", comments=("!", "#"))
    ohm = to_impedance(columns[:, 1] + 1j * columns[:, 2])
    rows = np.round(np.stack([FREQUENCY / 1e6, ohm.real, ohm.imag], axis=-1), 3).tolist()
    bend(asked, 'reading = "raw/after.s1p"', f"typed = {rows}")
    typed = compute(asked).matches[0].after.trimming
    assert (typed.verdict, typed.off[0].name) == ("one part", "L1") == (said.verdict, "L1")
    assert typed.off[0].change == pytest.approx(said.off[0].change, abs=0.01)


def test_the_line_that_has_a_network_checked_is_read_as_it_is_printed(asked, tmp_path, capsys):
    """Right after what to build, on the page and in the terminal."""
    (result,) = compute(asked).matches
    how, line = match_words.match_check(result)
    assert how.startswith("when it stands, read it at its input")
    assert any(line in said for said in match_words.match_lines(result))
    assert line.replace('"', "&#34;") in page(compute(asked))
    network = result.proposals[0].candidate.network
    write(asked, "built", network.seen(FREQUENCY, np.full(41, DEVICE_OHM)))
    with (asked / "record.toml").open("a") as file:
        file.write(f"{line}\n")
    (result,) = compute(asked).matches
    assert result.after.network.values == pytest.approx(network.values)
    assert not any(line in said for said in match_words.match_lines(result))


def test_of_a_network_that_is_named_the_variable_is_turned_first(asked):
    """As of the first of the list: where few such networks hold the target unless it is set."""
    bend(asked, "power_w = 5", "power_w = 5\ntarget_swr = 1.85")
    parts = [("shunt", Capacitor(1.1 * 56e-12, 1e3)), ("series", Inductor(82e-9, 100.0))]
    write(asked, "after", Network.of("L", parts).seen(FREQUENCY, np.full(41, DEVICE_OHM)))
    with (asked / "record.toml").open("a") as file:
        file.write(BUILT)
    said = match_words.match_after(compute(asked).matches[0])
    assert said[0].startswith("turn the variable part of C1 down by about 6 pF")


def test_what_holds_its_target_is_left_as_it_is(asked):
    """And what does not is set once more, where that serves."""
    built_as(asked)
    (result,) = compute(asked).matches
    assert match_words.match_after(result)[0].startswith("set L1 to the lowest SWR over the band, ")
    trimming = replace(result.after.trimming, promised_swr=np.nan)
    in_vain = replace(result, after=replace(result.after, trimming=trimming))
    other = "leave it as it is, or build another network: "
    assert match_words.match_after(in_vain)[0].startswith(other)
    asked_for = replace(result, request=replace(result.request, target_swr=2.0))
    assert match_words.match_after(asked_for)[0].startswith("leave it as it is, it holds the SWR")


def test_a_plot_of_built_against_promised(asked):
    built_as(asked)
    results = compute(asked)
    figure = match_plots.built_figure(results.matches[0])
    labels = [line.get_label() for line in figure.axes[0].lines]
    assert labels[:3] == ["no network", "promised", "built"]
    promised, built = (figure.axes[0].lines[k].get_ydata() for k in (1, 2))
    assert built == pytest.approx(promised, rel=0.05)
    # of a curve that lies beyond the axes the legend says nothing
    result = replace(
        results.matches[0], goal=replace(results.matches[0].goal, load=np.full(41, 1 + 0j))
    )
    (legend,) = match_plots.built_figure(result).legends
    assert [text.get_text() for text in legend.get_texts()] == ["promised", "built"]
    written = page(results)
    assert "What was built" in written
    assert "SWR of what was built against what was promised" in written


@pytest.mark.parametrize(
    ("old", "new", "fragments"),
    [
        ("L, series part at load", "M", ["[match] 1 built", "is no network", "quarter wave"]),
        ("low-pass", "high-pass", ["[match] 1 built", "make no high-pass"]),
        ('"56 pF", "82 nH"', '"56 pF"', ["has 2 parts, source to load, found 1"]),
        ('"56 pF"', '"56 ohm"', ["'56 ohm' is no part", "'33 pF'"]),
        ('"56 pF"', '"0.2 m of 50 ohm"', ["is no part that can lie here"]),
        ('["56 pF", "82 nH"]', "56e-12", ["[match] 1 built parts", "as printed"]),
        ("parts =", "pieces =", ["[match] 1 built pieces", "nearest"]),
        ("raw/after.s1p", "raw/nothing.s1p", ["[match] 1 built reading", "there is no file"]),
        ('parts = ["56 pF", "82 nH"],', "", ["[match] 1 built", "state both or neither"]),
        ('reading = "raw/after.s1p"', "place = 1", ["[match] 1 built place"]),
        ('reading = "raw/after.s1p"', "typed_swr = [[70.0, 1.2]]", ["R and X with its sign"]),
        ('reading = "raw/after.s1p"', 'typed = [[70.0, ">999", 2]]', ["beyond the display"]),
    ],
)
def test_what_cannot_have_been_built(asked, capsys, tmp_path, old, new, fragments):
    built_as(asked)
    bend(asked, old, new)
    refused(asked, fragments, capsys, tmp_path)


def test_every_network_can_be_named_as_it_is_printed(asked):
    """All topologies, by title and parts of the page, give the network back."""
    bend(asked, 'topologies = ["L"]\n', "")
    (result,) = compute(asked).matches
    stock = result.request.stock
    for candidate in result.ranking.candidates:
        network = candidate.network
        name = ", ".join(filter(None, (network.topology, network.form)))
        found = as_printed(name, [e.in_words() for e in network.elements], stock)
        assert [e.place for e in found.elements] == [e.place for e in network.elements]
        seen, other = (n.seen(FREQUENCY, DEVICE_OHM) for n in (network, found))
        assert found.values == pytest.approx(network.values, rel=1e-9)
        assert seen == pytest.approx(other, abs=0.02)
    assert len({c.network.topology for c in result.ranking.candidates}) > 8
    assert PLACES.keys() >= {c.network.topology for c in result.ranking.candidates}


def test_a_network_may_be_of_stubs_and_other_parts(monkeypatch):
    monkeypatch.setitem(PLACES, "stub and coil, open", (("shunt stub", "series"),))
    parts = as_printed("stub and coil, open", ["0.25 m of 50 ohm", "39 nH"], Stock()).elements
    assert [type(element.part) for element in parts] == [Stub, Inductor]
    with pytest.raises(MatchingError, match="'39 nH' is no part that can lie here in shunt"):
        as_printed("shunt stub, open", ["39 nH", "0.25 m of 50 ohm"], Stock())
