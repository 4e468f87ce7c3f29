"""Close the menu on a phone once a page was chosen, and open no page under it.

Streamlit leaves it open, and remembers that for the next page that is loaded, such as the record of a scanned label.
"""

import streamlit as st

_SCRIPT = """
// The page that the address named when the tab was loaded: the menu may be used before this script first runs.
const landed = performance.getEntriesByType("navigation")[0]?.name ?? window.location.href;
let shown = new URL(landed).pathname.split("/").at(-1);
const isNarrow = () => window.innerWidth < 768;
const forget = () => {
  const kept = Object.keys(localStorage).filter((name) => name.startsWith("stSidebarCollapsed"));
  if (isNarrow()) kept.forEach((name) => localStorage.removeItem(name));
};
window.addEventListener("pagehide", forget);
export default function ({ data }) {
  if (shown !== data.page && isNarrow()) {
    document.querySelector('[data-testid="stSidebarCollapseButton"] button')?.click();
  }
  shown = data.page;
}
"""

_component = st.components.v2.component("spray_out_phone_menu", js=_SCRIPT, isolate_styles=False)


def close_after_choice(page: str) -> None:
    """Close the open menu when ``page``, an address, is another than at the last run; nothing on a wide screen."""
    with st.container(key="phone_menu", height=1, border=False):
        _component(key="phone_menu_watch", data={"page": page})
