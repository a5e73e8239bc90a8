"""The bench app, on Streamlit: pages over the library, without color arithmetic or SQL."""
