"""What a stranger gets, whatever was asked for: one small page that asks for the code and loads nothing else.

The ticket of a QR code stands behind the # of its address, which no browser sends anywhere: the page takes it out of
the address bar before it hands it over.
"""

import base64
import hashlib

from match.network.access import Refusal

ENTER = "/enter"
CODE, TICKET, TO = "code", "ticket", "to"
"""Names of the form's fields: what lets in, and the address that was asked for, to go on to."""

_SAID = {
    None: "",
    Refusal.WRONG: "That code does not hold. Each code lets one phone in: the desk's screen shows the one that is good "
    "now.",
    Refusal.TOO_MANY_TRIES: "Too many wrong codes. Scan the QR code on the desk's screen, or wait a while.",
    Refusal.FULL: "As many phones are in as may be. Renew the code at the desk: it shuts all of them out.",
}
_STYLE = """
body{margin:0;background:#dcdcdc;color:#161616;font:18px/1.45 "Source Sans",Helvetica,Arial,sans-serif}
main{max-width:22rem;margin:0 auto;padding:12vh 1.25rem 2rem}
h1{font-size:1.5rem;margin:0 0 .75rem}
p{margin:0 0 1rem}
label{display:block;font-weight:600;margin:0 0 .35rem}
input,button{box-sizing:border-box;width:100%;min-height:3.5rem;border-radius:6px;font:inherit}
input{border:1px solid #6b6b6b;background:#f6f6f6;color:#161616;padding:0 .9rem;font-size:1.6rem;letter-spacing:.08em}
button{margin-top:.9rem;border:0;background:#262626;color:#f6f6f6;font-weight:600}
input:focus,button:focus{outline:3px solid #161616;outline-offset:2px}
.said{background:#f6f6f6;border-left:4px solid #161616;padding:.6rem .8rem}
"""
_SCRIPT = """
var form = document.forms[0];
form.elements.to.value = (location.pathname + location.search).slice(0, 180);
function handOver() {
  var ticket = location.hash.slice(1);
  if (!ticket) return;
  history.replaceState(null, "", location.pathname);
  form.elements.ticket.value = ticket;
  form.submit();
}
addEventListener("hashchange", handOver);
handOver();
"""


def _hash(text: str) -> str:
    return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'"


POLICY = "; ".join(
    (
        "default-src 'none'",
        f"style-src {_hash(_STYLE)}",
        f"script-src {_hash(_SCRIPT)}",
        "img-src data:",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    )
)
"""The page runs its own few lines and fetches nothing at all."""


def code_page(refusal: Refusal | None = None) -> bytes:
    """Return the page, the same for every address; ``refusal`` says why the last try let nobody in."""
    said = f'<p class="said" role="alert">{_SAID[refusal]}</p>' if refusal else ""
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Access code</title>
<meta name="viewport" content="width=device-width, initial-scale=1"><link rel="icon" href="data:,">
<style>{_STYLE}</style></head>
<body><main><h1>Enter the access code</h1>
<p>It stands on the desk's screen, on the page <b>Phone</b>. Scanning the QR code there needs no typing.</p>{said}
<form method="post" action="{ENTER}"><label for="{CODE}">Access code</label>
<input id="{CODE}" name="{CODE}" inputmode="numeric" autocomplete="off" maxlength="24">
<input type="hidden" name="{TICKET}"><input type="hidden" name="{TO}"><button type="submit">Go in</button></form>
</main><script>{_SCRIPT}</script></body></html>
""".encode()
