"""Spray-out Match in the browser: ``streamlit run app.py`` from this folder."""

import streamlit as st

from match.ui import menu, pages
from match.ui.kit import phone_menu, style

st.set_page_config(page_title="Spray-out Match", page_icon=style.icon(), layout="wide")
style.apply()
menu.offer(pages.all_pages)
page = menu.navigate()
phone_menu.close_after_choice(page.url_path)
pages.run(page)
