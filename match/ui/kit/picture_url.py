"""How a picture reaches the browser: by a short address where Streamlit can serve it, else inside the message itself.

The call that makes such an address is not part of Streamlit's public interface, which is why it lives here alone.
"""

import base64
import io

import numpy as np
import streamlit as st
from PIL import Image
from streamlit import runtime

JPEG_QUALITY = 90
"""Engineering choice: the preview is looked at, never measured; at 90 the blocks stay invisible at eight-fold zoom."""


def encoded(picture: np.ndarray) -> bytes:
    """Return an 8-bit RGB picture of shape (height, width, 3) as JPEG bytes."""
    written = io.BytesIO()
    Image.fromarray(picture).save(written, "JPEG", quality=JPEG_QUALITY)
    return written.getvalue()


def media_type(image: bytes) -> str:
    """Return the media type of a JPEG or PNG file's bytes."""
    return "image/png" if image.startswith(b"\x89PNG") else "image/jpeg"


def served_url(image: bytes, name: str) -> str | None:
    """Return an address on this server for ``image``, or None where this Streamlit cannot make one.

    Call it in every run that still shows the picture: Streamlit forgets files that a run did not mention.
    """
    try:
        path = runtime.get_instance().media_file_mgr.add(image, media_type(image), name)
    except (AttributeError, RuntimeError, TypeError):
        return None
    base = str(st.get_option("server.baseUrlPath") or "").strip("/")
    return f"/{base}{path}" if base else path


def inline_url(image: bytes) -> str:
    """Return ``image`` as a data address, which any browser can show without asking the server again."""
    return f"data:{media_type(image)};base64,{base64.b64encode(image).decode('ascii')}"
