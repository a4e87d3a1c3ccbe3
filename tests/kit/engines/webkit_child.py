"""One window of WebKitGTK that does what lines of JSON ask for. Run by the system's own Python, which has
Debian's bindings: `webkit_child.py FOLDER WIDTH HEIGHT`, nothing of the project is imported.

A line in: {"do": "call" | "goto" | "reload" | "tap" | "type", ...}. A line out: {"result": ...}
or {"error": words}. Taps and keys are events of the window system, given to the window as they would come.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import gi

for library, version in (("Gtk", "3.0"), ("Gdk", "3.0"), ("WebKit2", "4.1")):
    gi.require_version(library, version)

from gi.repository import Gdk, GLib, Gtk, WebKit2  # noqa: E402 - the versions are named before

Asked = dict[str, Any]
AS_JSON = "return JSON.stringify(await ({function})(JSON.parse(text))) ?? 'null'"


# Answers go where the output went; what the page writes to its console goes to the log with all else.
ANSWERS = os.fdopen(os.dup(sys.stdout.fileno()), "w", encoding="utf-8")
os.dup2(sys.stderr.fileno(), sys.stdout.fileno())


def answer(**said: Any) -> None:
    """One line to whoever asked."""
    print(json.dumps(said), file=ANSWERS, flush=True)


class Window:
    """The window, its one page, and what was asked of it last."""

    def __init__(self, folder: Path, width: int, height: int) -> None:
        self._loading = False
        kept = WebKit2.WebsiteDataManager(
            base_data_directory=str(folder / "data"), base_cache_directory=str(folder / "cache")
        )
        self._view = WebKit2.WebView.new_with_context(WebKit2.WebContext.new_with_website_data_manager(kept))
        self._view.get_settings().set_enable_write_console_messages_to_stdout(True)
        self._view.connect("load-changed", self._load_changed)
        self._view.connect("load-failed", self._load_failed)
        self._view.connect("load-failed-with-tls-errors", self._distrusted)
        self._view.connect("web-process-terminated", lambda _, why: answer(error=f"the page ended: {why}"))
        self._window = Gtk.Window(decorated=False, default_width=width, default_height=height)
        self._window.add(self._view)
        self._window.show_all()
        self._view.grab_focus()

    def do(self, asked: Asked) -> None:
        """Do one line's thing; it answers then or later."""
        ways: dict[str, Callable[[Asked], None]] = {
            "call": self._call,
            "goto": self._goto,
            "reload": self._reload,
            "tap": self._tap,
            "type": self._type,
        }
        ways[asked["do"]](asked)

    def _goto(self, asked: Asked) -> None:
        self._loading = True
        self._view.load_uri(asked["url"])

    def _reload(self, _: Asked) -> None:
        self._loading = True
        self._view.reload()

    def _load_changed(self, _: WebKit2.WebView, change: WebKit2.LoadEvent) -> None:
        if change == WebKit2.LoadEvent.FINISHED and self._loading:
            self._loading = False
            answer(result=self._view.get_uri())

    def _load_failed(self, _: WebKit2.WebView, __: Any, uri: str, error: GLib.Error) -> bool:
        self._loading = False
        answer(error=f"{uri}: {error.message}")
        return True

    def _distrusted(self, _: WebKit2.WebView, uri: str, __: Any, errors: Any) -> bool:
        self._loading = False
        answer(error=f"{uri}: not trusted: {errors.value_nicks}")
        return True

    def _call(self, asked: Asked) -> None:
        body = AS_JSON.replace("{function}", asked["function"])
        arguments = GLib.Variant("a{sv}", {"text": GLib.Variant("s", json.dumps(asked["argument"]))})
        self._view.call_async_javascript_function(body, -1, arguments, None, None, None, self._called)

    def _called(self, view: WebKit2.WebView, outcome: Any) -> None:
        try:
            value = view.call_async_javascript_function_finish(outcome)
        except GLib.Error as error:
            answer(error=error.message)
        else:
            answer(result=json.loads(value.to_string()))

    def _tap(self, asked: Asked) -> None:
        for kind in (Gdk.EventType.MOTION_NOTIFY, Gdk.EventType.BUTTON_PRESS, Gdk.EventType.BUTTON_RELEASE):
            self._point(kind, asked["x"], asked["y"])
        answer(result=None)

    def _point(self, kind: Gdk.EventType, x: float, y: float) -> None:
        event = Gdk.Event.new(kind)
        moves = kind == Gdk.EventType.MOTION_NOTIFY
        fields = event.motion if moves else event.button
        fields.x, fields.y, fields.x_root, fields.y_root = x, y, x, y
        if not moves:
            fields.button = Gdk.BUTTON_PRIMARY
        if kind == Gdk.EventType.BUTTON_RELEASE:
            fields.state = Gdk.ModifierType.BUTTON1_MASK
        self._give(event, fields, self._seat.get_pointer())

    def _type(self, asked: Asked) -> None:
        for character in asked["text"]:
            for kind in (Gdk.EventType.KEY_PRESS, Gdk.EventType.KEY_RELEASE):
                self._key(kind, character)
        answer(result=None)

    def _key(self, kind: Gdk.EventType, character: str) -> None:
        event = Gdk.Event.new(kind)
        event.key.keyval = Gdk.unicode_to_keyval(ord(character))
        keymap = Gdk.Keymap.get_for_display(Gdk.Display.get_default())
        there, keys = keymap.get_entries_for_keyval(event.key.keyval)
        if there:
            event.key.hardware_keycode = keys[0].keycode
            event.key.state = Gdk.ModifierType.SHIFT_MASK if keys[0].level == 1 else 0
        self._give(event, event.key, self._seat.get_keyboard())

    def _give(self, event: Gdk.Event, fields: Any, device: Gdk.Device) -> None:
        """Let the view have an event as if the window system had sent it just now."""
        fields.window, fields.send_event = self._view.get_window(), False
        fields.time = GLib.get_monotonic_time() // 1000 & 0xFFFFFFFF
        event.set_device(device)
        self._view.event(event)

    @property
    def _seat(self) -> Gdk.Seat:
        return Gdk.Display.get_default().get_default_seat()


def main() -> None:
    """Do what each line asks for until there are no more."""
    window = Window(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))

    def line_came(source: GLib.IOChannel, _: GLib.IOCondition) -> bool:
        line = source.readline()
        if not line:
            Gtk.main_quit()
            return False
        window.do(json.loads(line))
        return True

    channel = GLib.IOChannel.unix_new(sys.stdin.fileno())
    GLib.io_add_watch(channel, GLib.PRIORITY_DEFAULT, GLib.IOCondition.IN | GLib.IOCondition.HUP, line_came)
    Gtk.main()


if __name__ == "__main__":
    main()
