"""What every visit runs: the page's settings and look, the menu, and the page that was chosen. Run by ``app.py``."""

import streamlit as st

from match.ui import menu, pages, visit
from match.ui.kit import phone_menu, shut_out, style

st.set_page_config(page_title="Spray-out Match", page_icon=style.icon(), layout="wide")
style.apply()
menu.offer(pages.all_pages)
page = menu.navigate()
phone_menu.close_after_choice(page.url_path)
if visit.is_phone():
    shut_out.watch()
pages.run(page)
