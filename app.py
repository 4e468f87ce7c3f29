"""Spray-out Match in the browser: ``streamlit run app.py`` from this folder."""

import streamlit as st

from match.ui import pages, style

st.set_page_config(page_title="Spray-out Match", page_icon=style.icon(), layout="wide")
style.apply()
st.navigation(pages.all_pages(), position="top").run()
