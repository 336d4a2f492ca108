"""Labels read by the camera: Chromium is given a film of our own printed label for its camera."""

import re

import pytest
from playwright.sync_api import expect

from nursery.calc.codes import spoken
from tests.browser.camera import ALLOWED, FAKE_CAMERA, foreign_picture, label_picture, png, seen
from tests.browser.conftest import PHONE, TABLET
from tests.browser.looker import Looker
from tests.browser.scanner import INSECURE_HOST, KEEP_STREAMS
from tests.factories import make_flat, make_run

FOREIGN = "https://seeds.example/offer?number=7"
TILTED = [(0.05, 0.1), (-0.1, 0), (0, 0), (0, 0.05)]
STATES = "window.streams.flatMap((stream) => stream.getTracks().map((track) => track.readyState))"


@pytest.fixture
def label(flat72):
    """The printed label of the flat as it lies on a bench, the tablet held at an angle."""
    return seen(label_picture(flat72.code), corners=TILTED, turn=4)


@pytest.fixture
def empty():
    return seen(foreign_picture("x").point(lambda _dot: 255))


def test_our_own_printed_label_opens_its_flat_with_what_lies_here(with_camera, flat72, label, live_server):
    scanner = with_camera([label]).start()
    scanner.page.wait_for_load_state("networkidle")
    assert scanner.fetched("zxing") == scanner.fetched("scan.js") == []  # only a scan loads it
    scanner.scan()
    scanner.opens(flat72)
    (wasm,) = scanner.fetched(".wasm")
    assert wasm == f"{live_server.url}/static/vendor/zxing-wasm-3.1.4/reader/zxing_reader.wasm"
    assert [url for url in scanner.requests if not url.startswith(f"{live_server.url}/")] == []


def test_the_rear_camera_is_asked_for_and_no_sound(with_camera, label):
    scanner = with_camera([label]).with_event_button()
    scanner.scan("Read one")
    scanner.until("window.told.length")
    wanted = scanner.page.evaluate("window.wanted")
    assert wanted["audio"] is False
    assert wanted["video"]["facingMode"] == {"ideal": "environment"}


def test_a_symbol_of_somebody_else_is_said_to_be_foreign_and_scanning_goes_on(with_camera, flat72, label):
    foreign = seen(foreign_picture(FOREIGN), share=0.4)
    scanner = with_camera([foreign] * 30 + [label] * 10).start()
    scanner.scan()
    scanner.reads(f"That is no label of this farm: {FOREIGN}")
    scanner.opens(flat72)


def test_of_two_labels_the_one_in_the_middle_is_meant(with_camera, flat72, farm):
    other = make_flat()
    make_run(other)
    picture = seen(label_picture(flat72.code), share=0.55, size=(640, 240))
    beside = seen(label_picture(other.code), share=0.55, size=(640, 240))
    both = seen(picture, share=1)
    both.paste(beside, (0, 0))
    both.paste(picture, (0, 215))
    scanner = with_camera([both]).start()
    scanner.scan()
    scanner.opens(flat72)


def test_a_page_is_told_of_a_label_once(with_camera, flat72, label):
    scanner = with_camera([label]).with_event_button()
    scanner.scan("Read one")
    scanner.until("window.told.length")
    expect(scanner.dialog).to_be_hidden()
    address = f"HTTP://192.0.2.7:8000/{flat72.code}"
    assert scanner.page.evaluate("window.told") == [{"code": flat72.code, "text": address}]
    scanner.scan("Read one")  # the same label still lies there
    scanner.reads(f"{spoken(flat72.code)} was just read. Turn to the next label.")
    scanner.page.wait_for_timeout(1000)
    assert scanner.page.evaluate("window.told.length") == 1
    assert len(scanner.fetched(".wasm")) == 1  # loaded and compiled once a page


ENDINGS = {
    "a hit": lambda scanner: scanner.until("window.told.length"),
    "cancel": lambda scanner: scanner.dialog.get_by_role("button", name="Cancel").tap(),
    "escape": lambda scanner: scanner.page.keyboard.press("Escape"),
    "hidden": lambda scanner: scanner.page.evaluate("""() => {
      Object.defineProperty(document, "visibilityState", { value: "hidden", configurable: true });
      document.dispatchEvent(new Event("visibilitychange"));
    }"""),
}


@pytest.mark.parametrize("ending", ENDINGS)
def test_the_camera_is_let_go(with_camera, label, empty, ending):
    scanner = with_camera([label if ending == "a hit" else empty]).with_event_button()
    scanner.scan("Read one")
    if ending != "a hit":
        scanner.reads("Hold the code of the label in the frame.")
        assert scanner.page.evaluate(STATES) == ["live"]
    ENDINGS[ending](scanner)
    expect(scanner.dialog).to_be_hidden()
    # The browser tells that a dialog was closed a moment after it is hidden.
    scanner.until(f"{STATES}.join() === 'ended'")


def test_a_camera_that_opens_after_the_dialog_was_closed_is_let_go(with_camera, empty):
    wait = "await new Promise((go) => { window.go = go; });"
    late = KEEP_STREAMS.replace("window.wanted = wanted;", wait)
    scanner = with_camera([empty], script=late).start()
    scanner.scan()
    scanner.until("window.go")
    scanner.dialog.get_by_role("button", name="Cancel").tap()
    scanner.page.evaluate("window.go()")
    scanner.until("window.streams.length")
    scanner.until(f"{STATES}[0] === 'ended'")


def test_a_hit_is_felt(with_camera, label):
    script = KEEP_STREAMS + "window.felt = []; navigator.vibrate = (ms) => window.felt.push(ms);"
    scanner = with_camera([label], script=script).with_event_button()
    scanner.scan("Read one")
    scanner.until("window.told.length")
    assert scanner.page.evaluate("window.felt") == [30]


DETECTOR = """window.BarcodeDetector = class {
  static getSupportedFormats = async () => ["qr_code"];
  detect = async (video) => { if (!video.videoWidth) throw new Error("no picture"); return %s; };
};"""


def test_the_browsers_own_detector_goes_first(with_camera, flat72, empty):
    box = "{ x: 0, y: 0, width: 9, height: 9 }"
    found = f'[{{ rawValue: "{flat72.code.lower()}", boundingBox: {box} }}]'
    scanner = with_camera([empty], script=DETECTOR % found).start()
    scanner.scan()
    scanner.opens(flat72)
    assert scanner.fetched("zxing") == []


def test_a_detector_that_fails_is_replaced(with_camera, flat72, label):
    scanner = with_camera([label], script=DETECTOR % "Promise.reject(new Error('no service'))").start()
    scanner.scan()
    scanner.opens(flat72)
    assert len(scanner.fetched(".wasm")) == 1


TORCH = """
  window.lit = [];
  const track = MediaStreamTrack.prototype;
  track.getCapabilities = () => ({ torch: true });
  track.applyConstraints = async ({ advanced: [{ torch }] }) => window.lit.push(torch);"""


def test_a_light_is_offered_where_there_is_one(with_camera, empty):
    scanner = with_camera([empty], script=TORCH).start()
    scanner.scan()
    light = scanner.dialog.get_by_role("button", name="Light")
    for is_on in (True, False):
        light.tap()
        expect(light).to_have_attribute("aria-pressed", str(is_on).lower())
    assert scanner.page.evaluate("window.lit") == [True, False]


def test_no_light_is_offered_where_there_is_none(with_camera, empty):
    scanner = with_camera([empty]).start()
    scanner.scan()
    scanner.reads("Hold the code of the label in the frame.")
    expect(scanner.dialog.get_by_role("button", name="Light")).to_be_hidden()


def photo(picture):
    return {"name": "label.png", "mimeType": "image/png", "buffer": png(picture)}


def test_without_https_the_button_opens_the_camera_program_and_reads_its_photo(with_camera, flat72, empty):
    scanner = with_camera(host=INSECURE_HOST, script=None).start()
    assert scanner.page.evaluate("[isSecureContext, 'mediaDevices' in navigator]") == [False, False]
    with scanner.page.expect_file_chooser() as asked:
        scanner.scan()
    field = asked.value.element
    assert (field.get_attribute("accept"), field.get_attribute("capture")) == ("image/*", "environment")
    scanner.reads("Without HTTPS the browser shows no live picture.")
    asked.value.set_files(photo(empty))
    scanner.reads("No code was found in the photo. Try again: closer, flat on, no glare.")
    with scanner.page.expect_file_chooser() as asked:
        scanner.dialog.get_by_role("button", name="Take a photo").tap()
    large = seen(label_picture(flat72.code), size=(4000, 3000), share=0.25, corners=TILTED, turn=12, blur=2)
    asked.value.set_files(photo(large))
    scanner.opens(flat72)
    assert [url for url in scanner.requests if f"//{INSECURE_HOST}:" not in url] == []


def test_a_file_that_is_no_picture_is_said_to_be_none(with_camera):
    scanner = with_camera(host=INSECURE_HOST, script=None).start()
    with scanner.page.expect_file_chooser() as asked:
        scanner.scan()
    asked.value.set_files({"name": "a.png", "mimeType": "image/png", "buffer": b"words"})
    scanner.reads("This file is no picture that can be read here.")


def test_a_refused_camera_is_said_and_a_photo_does(with_camera, flat72, label):
    scanner = with_camera(args=[FAKE_CAMERA], script=None).start()
    scanner.scan()
    scanner.reads("The camera is refused to this page.")
    with scanner.page.expect_file_chooser() as asked:
        scanner.dialog.get_by_role("button", name="Take a photo").tap()
    asked.value.set_files(photo(label))
    scanner.opens(flat72)


def test_a_device_without_a_camera_says_so(with_camera, flat72):
    scanner = with_camera(args=[ALLOWED], script=None).start()
    scanner.scan()
    scanner.reads("No camera was found here.")
    expect(scanner.dialog.get_by_role("button", name="Take a photo")).to_be_visible()


def test_without_an_answer_from_the_server_typing_is_left(with_camera, empty):
    scanner = with_camera([empty]).start()
    scanner.page.route("**/*.wasm", lambda route: route.abort())
    scanner.scan()
    scanner.reads("What reads labels could not be loaded: the server does not answer.")
    assert scanner.page.evaluate(STATES) == ["ended"]
    scanner.page.unroute("**/*.wasm")
    scanner.dialog.get_by_role("button", name="Cancel").tap()
    scanner.scan()
    scanner.reads("Hold the code of the label in the frame.")  # the next try asks again


@pytest.mark.parametrize("size", [TABLET, PHONE], ids=["tablet", "phone"])
def test_the_open_dialog_is_clean_and_fills_a_phone(with_camera, empty, size):
    scanner = with_camera([empty], viewport=size).start()
    scanner.scan()
    scanner.reads("Hold the code of the label in the frame.")
    box = scanner.dialog.bounding_box()
    if size == PHONE:
        assert (box["width"], box["height"]) == (PHONE["width"], PHONE["height"])
    looker = Looker(scanner.page)
    looker.look()
    assert looker.faults == []


def test_paper_bears_no_camera_button(open_page, farm, bob):
    page = open_page(TABLET, bob)
    page.goto("/")
    button = page.get_by_role("button", name="Scan", exact=True)
    expect(button).to_be_visible()
    page.emulate_media(media="print")
    expect(button).to_be_hidden()


def test_without_a_script_there_is_typing_alone(open_page, farm, bob):
    page = open_page(PHONE, bob, java_script_enabled=False)
    page.goto("/")
    expect(page.get_by_label(re.compile("type a code"))).to_be_visible()
    expect(page.get_by_text("Scan", exact=True)).to_be_hidden()
