"""On a phone that was shut out: ask for the code again, instead of leaving what was on its screen there."""

import streamlit as st

_SCRIPT = """
let watching;
export default function () {
  watching ??= setInterval(async () => {
    if (document.hidden) return;
    try {
      const answer = await fetch("/_stcore/health", { cache: "no-store" });
      if (answer.status === 401) window.location.reload();
    } catch {
      // The computer is away; Streamlit says so, and goes on when it is back.
    }
  }, 3000);
}
"""

_component = st.components.v2.component("spray_out_shut_out", js=_SCRIPT, isolate_styles=False)


def watch() -> None:
    """Look every few seconds whether this phone is still in; call it in every run of a phone's visit."""
    with st.container(key="shut_out", height=1, border=False):
        _component(key="shut_out_watch", data={})
