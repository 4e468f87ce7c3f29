"""The app as ``app.py`` makes it, and for the tests: a list of its routes in the file that ``ROUTES`` names.

Two routes besides, which stand behind the guard as all others do, tell what the desk shows and renew the codes.
"""

import json
import os
from contextlib import asynccontextmanager
from dataclasses import asdict
from pathlib import Path

import streamlit as st
from starlette.responses import JSONResponse
from starlette.routing import Route

from match.network.phones import PHONES
from match.ui import guard


def shown(request):
    return JSONResponse(asdict(PHONES.shown()))


def renew(request):  # no coroutine: run in a thread, as the press on the page is
    PHONES.renew()
    return JSONResponse({})


@asynccontextmanager
async def lifespan(served):
    routes = [
        {"path": route.path, "kind": type(route).__name__, "methods": sorted(getattr(route, "methods", None) or ())}
        for route in served._starlette_app.routes
    ]
    Path(os.environ["ROUTES"]).write_text(json.dumps(routes), encoding="utf-8")
    async with guard.lifespan(served):
        yield


app = st.App(
    guard.SCRIPT,
    middleware=guard.MIDDLEWARE,
    lifespan=lifespan,
    routes=[Route("/desk/shown", shown), Route("/desk/renew", renew, methods=["POST"])],
)
