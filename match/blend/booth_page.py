"""The steps for a phone in the booth: one step a screen, in one file that needs no network and no server.

Big type, the step's drawing, buttons for a gloved thumb, and a timer for each wait.
"""

from html import escape

from match.blend.panel_svg import step_svg
from match.blend.planned_job import PlannedJob
from match.blend.step_words import StepText

TITLE = "Blend, step by step"
"""By this a booth page is known for one when it is to be written over."""

_STYLE = """
*{box-sizing:border-box}html,body{margin:0;height:100%;background:#fff;color:#161616;
font:20px/1.35 system-ui,sans-serif}
section{display:none;padding:16px 16px 120px;max-width:640px;margin:0 auto}section.now{display:block}
h1{font-size:30px;line-height:1.15;margin:4px 0 10px}p{margin:0 0 10px}.count{font-size:16px;color:#444}
nav{position:fixed;left:0;right:0;bottom:0;display:flex;gap:8px;padding:8px;background:#fff;
border-top:2px solid #161616}
button{min-height:84px;font:600 24px system-ui,sans-serif;border:2px solid #161616;border-radius:8px;
background:#fff;color:#161616}
nav button{flex:1}nav .next{flex:2;background:#161616;color:#fff}button:disabled{opacity:.35}
.timer{width:100%;margin:6px 0 12px;font-variant-numeric:tabular-nums}
.timer.done{background:#161616;color:#fff}
"""

_SCRIPT = """
const steps=[...document.querySelectorAll('section')];let at=0;
const back=document.querySelector('.back'),next=document.querySelector('.next');
function show(i){at=Math.max(0,Math.min(steps.length-1,i));
steps.forEach((s,k)=>s.classList.toggle('now',k===at));
back.disabled=at===0;next.disabled=at===steps.length-1;window.scrollTo(0,0)}
back.onclick=()=>show(at-1);next.onclick=()=>show(at+1);
document.querySelectorAll('.timer').forEach(b=>{const low=+b.dataset.low*60,high=+b.dataset.high*60;
let start=null;const label=b.textContent;
function clock(s){return Math.floor(s/60)+':'+String(Math.floor(s%60)).padStart(2,'0')}
setInterval(()=>{if(start===null)return;const gone=(Date.now()-start)/1000;
b.classList.toggle('done',gone>=low);
b.textContent=gone<low?'Wait '+clock(low-gone):clock(gone)+' gone: look whether it is ready'},250);
b.onclick=()=>{if(start===null){start=Date.now()}else{start=null;b.classList.remove('done');b.textContent=label}}});
show(0);
"""


def booth_page(job: PlannedJob) -> str:
    """Return the steps as one HTML page that works by itself, also offline."""
    told = job.step_texts
    screens = [
        _screen(number, len(told), each, step_svg(step, job.plan, job.unit), job.rests_on)
        for number, (each, step) in enumerate(zip(told, job.steps.steps, strict=True), start=1)
    ]
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{TITLE}</title><style>{_STYLE}</style></head><body>{''.join(screens)}"
        '<nav><button class="back">Back</button><button class="next">Next</button></nav>'
        f"<script>{_SCRIPT}</script></body></html>"
    )


def _screen(number: int, count: int, step: StepText, drawing: str, rests_on: str) -> str:
    lines = [line for line in (rests_on if number == 1 else "", *step.lines, step.set_up) if line]
    return (
        f'<section><div class="count">Step {number} of {count}</div><h1>{escape(step.title)}</h1>{drawing}'
        f"{''.join(f'<p>{escape(line)}</p>' for line in lines)}{_timer(step)}</section>"
    )


def _timer(step: StepText) -> str:
    low, high = step.wait_min
    if high <= 0.0:
        return ""
    return (
        f'<button class="timer" data-low="{low:g}" data-high="{high:g}">Start the timer: {low:.0f} to {high:.0f} min'
        "</button>"
    )
