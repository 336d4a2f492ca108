"""Which scripts print, and text made ready for a printer that sets one letter after the other.

The PDF library neither joins letters nor turns their order. So Arabic letters become their joined forms
(``arabic-reshaper``) before they are measured, and each finished line its letters from left to right
(``python-bidi``). Vowel points of Arabic and Hebrew are left out: nothing would set them over their
letters. Scripts that need more than that do not print even where the font has some of their letters.

Example: ``shaped("لا")`` is one character, the joined lam-alef; ``in_print_order("אב 12")`` is ``"12 בא"``.
"""

import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

# What the font has letters of, but which would come out wrong without joining or stacking: N'Ko, Lao.
UNSHAPED = ((0x07C0, 0x07FF), (0x0E80, 0x0EFF))
POINTS = ((0x0591, 0x05C7), (0x0610, 0x061A), (0x064B, 0x065F), (0x0670, 0x0670), (0x06D6, 0x06ED))
RIGHT_TO_LEFT = ((0x0590, 0x08FF), (0xFB1D, 0xFDFF), (0xFE70, 0xFEFF))
ARABIC = ((0x0600, 0x06FF), (0x0750, 0x077F))
UNSEEN = ("Cc", "Cf")  # control and format characters: left out
BRACKETS = {"(": ")", "[": "]", "{": "}", "«": "»", "‹": "›", "<": ">"}
CLOSING = {closing: opening for opening, closing in BRACKETS.items()}

Has = Callable[[str], bool]


@dataclass(frozen=True)
class Script:
    """A script by its name and the letters it is judged by: those that its languages write today."""

    name: str
    sample: str


# Letters from memory of each alphabet; they are a sample, not the whole block.
SCRIPTS = (
    Script("Latin", "ABCÇÐÉĞĦÏŁÑŐØŘŞŠŢÜŴÝŽßæœþŋəẞăđơưấệữ"),
    Script("Greek", "ΑΒΓΔΕΖΗΘΙΚΛΜΝΞΟΠΡΣΤΥΦΧΨΩάέήίόύώς"),
    Script("Cyrillic", "АБВГДЕЁЖЗИЙКЛМНОПРСТУФХЦЧШЩЪЫЬЭЮЯҐЄІЇЎЈЉЊЋЏЌҚҢӨҮҺ"),
    Script("Armenian", "ԱԲԳԴԵԶԷԸԹԺԻԼԽԾԿՀՁՂՃՄՅՆՇՈՉՊՋՌՍՎՏՐՑՒՓՔՕՖաբգև"),
    Script("Georgian", "აბგდევზთიკლმნოპჟრსტუფქღყშჩცძწჭხჯჰ"),
    Script("Hebrew", "אבגדהוזחטיכלמנסעפצקרשתךםןףץ"),
    Script("Arabic", "ابتثجحخدذرزسشصضطظعغفقكلمنهويىئءآأإؤة"),
    Script("Persian", "آابپتثجچحخدذرزژسشصضطظعغفقکگلمنوهیئء"),
    Script("Urdu", "آابپتٹثجچحخدڈذرڑزژسشصضطظعغفقکگلمنںوہھءیے"),
    Script("Devanagari (Hindi, Marathi, Nepali)", "अआइईउऊएऐओऔकखगघचछजझटठडढतथदधनपफबभमयरलवशषसह"),
    Script("Bengali", "অআইঈউঊএঐওঔকখগঘচছজঝটঠডঢতথদধনপফবভমযরলশষসহ"),
    Script("Tamil", "அஆஇஈஉஊஎஏஐஒஓகஙசஞடணதநபமயரலவழளறன"),
    Script("Thai", "กขคฆงจฉชซญฎฏฐฑฒณดตถทธนบปผฝพฟภมยรลวศษสหฬอฮ"),
    Script("Lao", "ກຂຄງຈສຊຍດຕຖທນບປຜຝພຟມຢຣລວຫອຮ"),
    Script("Khmer", "កខគឃងចឆជឈញដឋឌឍណតថទធនបផពភមយរលវសហឡអ"),
    Script("Ethiopic (Amharic)", "ሀለሐመሠረሰሸቀበተቸኀነኘአከኸወዐዘዠየደጀገጠጨጰጸፀፈፐ"),
    Script("Chinese", "番茄嫁接砧木黄瓜西红柿苗圃"),
    Script("Japanese", "あいうえおカキクケコ接木苗"),
    Script("Korean", "가나다라마바사아자차카타파하토마토"),
)


def shaped(text: str) -> str:
    """Return the text with Arabic letters joined and vowel points left out, in the order it is read."""
    if text.isascii() or not _any_in(text, RIGHT_TO_LEFT):
        return text
    bare = "".join(character for character in text if not _in(character, POINTS))
    return str(_reshaper().reshape(bare)) if _any_in(bare, ARABIC) else bare


def in_print_order(line: str, *, paragraph: str = "") -> str:
    """Return a line's characters from left to right, as they stand on paper.

    ``paragraph`` is the whole text that the line belongs to: its first letter says from which side it reads.
    """
    if line.isascii() or not _any_in(line, RIGHT_TO_LEFT):
        return line
    from bidi import get_display

    side = "R" if reads_from_right(paragraph or line) else "L"
    return _mirrored(str(get_display(line, base_dir=side)))


def reads_from_right(text: str) -> bool:
    """Whether the first letter belongs to a script that is read from right to left."""
    kinds = (unicodedata.bidirectional(character) for character in text)
    return next((kind != "L" for kind in kinds if kind in ("L", "R", "AL")), False)


def missing(text: str, has: Has) -> str:
    """Return the characters of a text that would not print, each once, as they were written."""
    return "".join(dict.fromkeys(c for c in text if not _is_unseen(c) and not _is_drawn(c, has)))


def _is_unseen(character: str) -> bool:
    return character.isspace() or unicodedata.category(character) in UNSEEN or _in(character, POINTS)


def _is_drawn(character: str, has: Has) -> bool:
    """Whether the character prints; of an Arabic letter, alone and joined to its neighbours."""
    if not _in(character, ARABIC):
        return draws(character, has)
    joined = (character, character + "ب", "ب" + character, "ب" + character + "ب")
    return all(draws(shaped(text), has) for text in joined)


def draws(text: str, has: Has) -> bool:
    """Whether each character of a shaped text has its shape in the font."""
    return all(has(character) and not _in(character, UNSHAPED) for character in text)


@lru_cache(maxsize=1)
def _reshaper() -> Any:
    from arabic_reshaper import ArabicReshaper

    return ArabicReshaper({"ARABIC LIGATURE ALLAH": False, "delete_harakat": True})


def _mirrored(line: str) -> str:
    """Turn the brackets round that stand in text read from the right: they close before they open."""
    turned = list(line)
    waiting: list[tuple[int, str]] = []
    for place, character in enumerate(line):
        if character in BRACKETS and waiting and waiting[-1][1] == BRACKETS[character]:
            other, closing = waiting.pop()
            turned[other], turned[place] = character, closing
        elif character in CLOSING and waiting and waiting[-1][1] == CLOSING[character]:
            waiting.pop()
        elif character in BRACKETS or character in CLOSING:
            waiting.append((place, character))
    return "".join(turned)


def _any_in(text: str, ranges: tuple[tuple[int, int], ...]) -> bool:
    return any(_in(character, ranges) for character in text)


def _in(character: str, ranges: tuple[tuple[int, int], ...]) -> bool:
    return any(first <= ord(character) <= last for first, last in ranges)
