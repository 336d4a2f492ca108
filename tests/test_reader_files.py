"""The reader of labels as a farm serves it: from here, under hashed names."""

import json

from django.template.loader import render_to_string
from whitenoise import WhiteNoise


def test_the_reader_of_labels_is_reached_under_hashed_names(collected):
    paths = json.loads((collected / "staticfiles.json").read_text(encoding="utf-8"))["paths"]
    folder = "vendor/zxing-wasm-3.1.4"
    zxing = (collected / paths["js/camera/zxing.js"]).read_text(encoding="utf-8")
    index = (collected / paths[f"{folder}/reader/index.js"]).read_text(encoding="utf-8")
    dialog = render_to_string("_scan_dialog.html")
    assert f'from "../../{paths[f"{folder}/reader/index.js"]}"' in zxing
    assert f'from "../{paths[f"{folder}/share.js"].removeprefix(f"{folder}/")}"' in index
    assert f'data-wasm="/static/{paths[f"{folder}/reader/zxing_reader.wasm"]}"' in dialog


def test_the_reader_of_labels_is_served_as_webassembly(collected):
    paths = json.loads((collected / "staticfiles.json").read_text(encoding="utf-8"))["paths"]
    name = paths["vendor/zxing-wasm-3.1.4/reader/zxing_reader.wasm"]
    served = WhiteNoise(None, root=collected, prefix="static/", max_age=60)
    answer = served.files[f"/static/{name}"].get_response("GET", {})
    answer.file.close()
    # Else it is compiled only after the last byte.
    assert dict(answer.headers)["Content-Type"] == "application/wasm"
