"""The Streamlit pages: one module a page."""
