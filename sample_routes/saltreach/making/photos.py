"""What a camera might have seen of two joints: drawings of a pipe with its bead, and no photos of anything real."""

from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

SIZE = (960, 720)
GROUND, TRENCH, PIPE, LIGHT, DARK, INK = "#8A7A5F", "#6E604A", "#23262A", "#5B6168", "#101214", "#F4F2EC"
BEAD, EDGE = "#33383E", "#8C949C"
PHOTOS = {  # joint: width of a bead in pixels, what is written on the drawing
    "C-034": (14, "invented - bead 3 mm"),
    "C-055": (30, "invented - made under shade"),
}


def write_photos(folder: Path) -> None:
    """Draw one picture a joint; the same version of the library writes the same bytes."""
    folder.mkdir(exist_ok=True)
    for joint, (bead, words) in PHOTOS.items():
        drawn(joint, bead, words).save(folder / f"{joint}.jpg", quality=70)


def drawn(joint: str, bead: int, words: str) -> Image.Image:
    """A pipe that lies across the picture, with the two rolls of its bead in the middle and its number on it."""
    picture = Image.new("RGB", SIZE, GROUND)
    draw = ImageDraw.Draw(picture)
    for row in range(0, SIZE[1], 24):  # the ground, in ruled strokes
        draw.line([(0, row), (SIZE[0], row + 12)], fill=TRENCH, width=3)
    top, foot, middle = 200, 560, SIZE[0] // 2
    shaded(draw, (0, top, SIZE[0], foot))
    for side in (-1, 1):
        left = middle + min(0, side * bead)
        draw.rounded_rectangle(
            (left, top - bead // 2, left + bead, foot + bead // 2), bead // 2, fill=BEAD, outline=EDGE, width=2
        )
    written(picture, joint, (90, 260), scale=6)
    written(picture, words, (40, 640), scale=4)
    return picture


def shaded(draw: ImageDraw.ImageDraw, box: tuple[int, int, int, int]) -> None:
    """A black pipe in daylight: light along its upper third, dark towards its foot."""
    left, top, right, foot = box
    draw.rectangle(box, fill=PIPE)
    draw.rectangle((left, top + 60, right, top + 90), fill=LIGHT)
    draw.rectangle((left, foot - 90, right, foot), fill=DARK)


def written(picture: Image.Image, text: str, at: tuple[int, int], *, scale: int) -> None:
    """Write in the letters that come with the library, enlarged: no font of the machine has a say."""
    font = ImageFont.load_default_imagefont()
    left, top, right, foot = font.getbbox(text)
    mask = Image.new("L", (right - left, foot - top))
    ImageDraw.Draw(mask).text((-left, -top), text, fill=255, font=font)
    mask = mask.resize((mask.width * scale, mask.height * scale), Image.Resampling.NEAREST)
    picture.paste(INK, at, mask)
