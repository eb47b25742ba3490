"""Colours of our own: dark, light, and one for full sun; meaning never hangs on a colour alone."""

from __future__ import annotations

from textual.theme import Theme

DARK = Theme(
    name="evening", dark=True, primary="#9db4c0", secondary="#c9b68f", accent="#d9b26a", foreground="#d3cec2",
    background="#16191c", surface="#1d2125", panel="#2a3036", success="#9cc39c", warning="#e3b04b", error="#e88a7d",
    variables={
        "bright": "#fffaf0", "quiet": "#8f948f", "footer-key-foreground": "#d9b26a",
        "input-selection-background": "#5c7080 60%",
    },
)
LIGHT = Theme(
    name="daylight", dark=False, primary="#345061", secondary="#6b5a34", accent="#7a4e00", foreground="#1f2326",
    background="#f6f3ec", surface="#efebe1", panel="#ddd7c9", success="#2f6b3a", warning="#8a5a00", error="#9c2b20",
    variables={
        "bright": "#000000", "quiet": "#6a6d68", "footer-key-foreground": "#7a4e00",
        "input-selection-background": "#9db4c0 60%",
    },
)
SUN = Theme(
    name="full sun", dark=False, primary="#000000", secondary="#000000", accent="#00308f", foreground="#000000",
    background="#ffffff", surface="#ffffff", panel="#ffffff", success="#004d1a", warning="#6b3000", error="#8b0000",
    variables={
        "bright": "#000000", "quiet": "#303030",
        "text-muted": "#000000", "footer-key-foreground": "#00308f", "border": "#000000", "scrollbar": "#000000",
        "scrollbar-background": "#ffffff", "input-selection-background": "#c8d4f0",
    },
)
NO_COLOR = Theme(
    name="no colour", dark=True, primary="#ffffff", secondary="#ffffff", accent="#ffffff", foreground="#ffffff",
    background="#000000", surface="#000000", panel="#000000", success="#ffffff", warning="#ffffff", error="#ffffff",
    variables={
        "bright": "#ffffff", "quiet": "#c0c0c0",
        "text-muted": "#ffffff", "footer-key-foreground": "#ffffff", "border": "#ffffff", "scrollbar": "#ffffff",
        "scrollbar-background": "#000000", "input-selection-background": "#808080",
    },
)

THEMES = (DARK, LIGHT, SUN, NO_COLOR)
