"""Colour: CIELAB, differences and deficiencies against colour-science and scikit-image, and profiles against littleCMS."""

import struct
import subprocess
import warnings

import numpy
import skimage.color
from PIL import Image, ImageCms

import jobs

with warnings.catch_warnings():
    # It says that it draws no plots without matplotlib.
    warnings.simplefilter("ignore")
    import colour

OURS = jobs.ROOT / "target" / "release" / "examples" / "ours"
COUNT = 10_000
KINDS = {"protan": "Protanomaly", "deutan": "Deuteranomaly", "tritan": "Tritanomaly"}


def check(tally, scratch):
    """All of it."""
    random = numpy.random.default_rng(5)
    srgb = random.integers(0, 256, (COUNT, 3))
    # Pairs all over CIELAB, every second of them close together, as for the pairs by which the formula is published.
    first = random.uniform((0, -100, -100), (100, 100, 100), (COUNT, 3))
    second = random.uniform((0, -100, -100), (100, 100, 100), (COUNT, 3))
    second[::2] = first[::2] + random.normal(0, 3, (COUNT // 2, 3))
    lab, seen, apart = ours(scratch, srgb, first, second)
    check_lab(tally, srgb, lab)
    check_deficiencies(tally, srgb, seen)
    check_differences(tally, first, second, apart)
    check_profiles(tally, scratch, random)


def ours(scratch, srgb, first, second):
    """Ours, by way of two files."""
    read, out = scratch / "colours.bin", scratch / "found.bin"
    read.write_bytes(numpy.hstack([srgb, first, second]).astype("<f8").tobytes())
    subprocess.run([OURS, "colours", read, out], check=True, stdout=subprocess.DEVNULL)
    found = numpy.fromfile(out, dtype="<f8").reshape(-1, 13)
    return found[:, :3], found[:, 3:12].reshape(-1, 3, 3), found[:, 12]


def check_lab(tally, srgb, lab):
    """Matrices of four decimals, of seven and computed ones differ by hundredths of CIELAB."""
    xyz = colour.sRGB_to_XYZ(srgb / 255)
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    judges = {"colour-science": colour.XYZ_to_Lab(xyz, white), "scikit-image": skimage.color.rgb2lab(srgb / 255)}
    for judge, theirs in judges.items():
        off = numpy.abs(lab - theirs).max()
        tally.check(off < 0.05, f"CIELAB of {COUNT} colours: at most {off:.4f} off {judge}")


def check_deficiencies(tally, srgb, seen):
    """Severity 1, on linear light, clipped."""
    light = colour.cctf_decoding(srgb / 255, function="sRGB")
    for at, (kind, name) in enumerate(KINDS.items()):
        matrix = colour.blindness.matrix_cvd_Machado2009(name, 1.0)
        theirs = numpy.clip(light @ numpy.asarray(matrix).T, 0, 1)
        off = numpy.abs(seen[:, at] - theirs).max()
        tally.check(off < 1e-6, f"{kind}: linear light at most {off:.1e} off colour-science's Machado 2009")


def check_differences(tally, first, second, apart):
    """The same formula, so the same digits; hues that lie opposite to the last digit may go either way."""
    judges = {
        "colour-science": colour.delta_E(first, second, method="CIE 2000"),
        "scikit-image": skimage.color.deltaE_ciede2000(first, second),
    }
    for judge, theirs in judges.items():
        off = numpy.abs(apart - theirs).max()
        tally.check(off < 1e-9, f"ΔE00 of {COUNT} pairs, {apart.min():.2f} to {apart.max():.1f}: at most {off:.1e} off {judge}")


def check_profiles(tally, scratch, random):
    """An invented printer's profile, in RGB and in CMYK: sRGB to its inks and back, by the relative colorimetric intent."""
    colours = random.integers(0, 256, (2000, 3), dtype=numpy.uint8)
    picture = Image.fromarray(colours.reshape(40, 50, 3))
    for inks in ("RGB", "CMYK"):
        path = scratch / f"printer-{inks}.icc"
        path.write_bytes(printer(inks))
        read, out = scratch / "colours.bin", scratch / "proofs.bin"
        read.write_bytes(colours.tobytes())
        subprocess.run([OURS, "proofs", path, read, out], check=True, stdout=subprocess.DEVNULL)
        found = numpy.fromfile(out, dtype=numpy.uint8).reshape(-1, 3)
        screen, device = ImageCms.createProfile("sRGB"), ImageCms.getOpenProfile(str(path))
        intent = ImageCms.Intent.RELATIVE_COLORIMETRIC
        there = ImageCms.profileToProfile(picture, screen, device, renderingIntent=intent, outputMode=inks)
        back = ImageCms.profileToProfile(there, device, screen, renderingIntent=intent, outputMode="RGB")
        theirs = numpy.asarray(back).reshape(-1, 3)
        off = skimage.color.deltaE_ciede2000(skimage.color.rgb2lab(found / 255), skimage.color.rgb2lab(theirs / 255))
        moved = skimage.color.deltaE_ciede2000(skimage.color.rgb2lab(colours / 255), skimage.color.rgb2lab(theirs / 255))
        # Tables are interpolated in cubes here and in tetrahedra there, and it keeps eight bits between the two ways.
        tally.check(
            off.mean() < 0.5 and numpy.percentile(off, 99) < 2.5 and moved.max() > 10,
            f"{inks} profile, {len(colours)} proofs that move by up to ΔE00 {moved.max():.1f}: {off.mean():.2f} in the mean off"
            f" littleCMS, 99 % within {numpy.percentile(off, 99):.2f}, at most {off.max():.2f}",
        )


def printer(inks):
    """The profile of a printer whose colours follow a plain formula: with red, green and blue of 0 to 1 and their mean m,
    L* = 20 + 80 m, a* = 60 (r - g), b* = 60 ((r + g) / 2 - b); black ink takes all three down."""
    channels = len(inks)
    corners = numpy.stack(numpy.meshgrid(*[[0.0, 1.0]] * channels, indexing="ij"), -1).reshape(-1, channels)
    rgb = corners if channels == 3 else (1 - corners[:, :3]) * (1 - corners[:, 3:])
    r, g, b = rgb.T
    lab = numpy.stack([20 + 80 * rgb.mean(1), 60 * (r - g), 60 * ((r + g) / 2 - b)], -1)
    from_inks = table(channels, 3, 2, (lab + (0, 128, 128)) * (652.8, 256, 256))
    steps = numpy.linspace(0, 65535, 33)
    code = numpy.stack(numpy.meshgrid(steps, steps, steps, indexing="ij"), -1).reshape(-1, 3)
    l, a, b = (code / (652.8, 256, 256) - (0, 128, 128)).T
    mean = (l - 20) / 80
    blue = mean - b / 90
    rgb = numpy.stack([(3 * mean - blue + a / 60) / 2, (3 * mean - blue - a / 60) / 2, blue], -1).clip(0, 1)
    device = rgb if channels == 3 else numpy.hstack([1 - rgb, numpy.zeros((len(rgb), 1))])
    to_inks = table(3, channels, 33, device * 65535)
    tags = {b"A2B0": from_inks, b"A2B1": from_inks, b"B2A0": to_inks, b"B2A1": to_inks}
    at = 128 + 4 + 12 * len(tags)
    entries, content = struct.pack(">I", len(tags)), b""
    for name, tag in tags.items():
        entries += name + struct.pack(">II", at + len(content), len(tag))
        content += tag
    size = 128 + len(entries) + len(content)
    head = struct.pack(">I4xI4s4s4s6H4s", size, 2 << 24, b"prtr", inks.ljust(4).encode(), b"Lab ", 2027, 3, 1, 0, 0, 0, b"acsp")
    head = (head.ljust(68, b"\0") + struct.pack(">III", 0xF6D6, 0x10000, 0xD32D)).ljust(128, b"\0")
    return head + entries + content


def table(inputs, outputs, grid, entries):
    """A lut16Type without curves (ISO 15076-1, 10.10)."""
    head = struct.pack(">4s4xBBBx", b"mft2", inputs, outputs, grid)
    matrix = struct.pack(">9I", *(0x10000 if at % 4 == 0 else 0 for at in range(9)))
    line = struct.pack(">HH", 0, 65535)
    return (
        head + matrix + struct.pack(">HH", 2, 2) + line * inputs
        + numpy.rint(entries).astype(">u2").tobytes() + line * outputs
    )
