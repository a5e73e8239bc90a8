"""The open repair: what it holds, how it is kept, what follows from it, and the door to Streamlit's session."""
