"""Spray-out Match in the browser: ``streamlit run app.py`` from this folder."""

import streamlit as st

from match.ui import guard

app = st.App(guard.SCRIPT, middleware=guard.MIDDLEWARE, lifespan=guard.lifespan)
