"""The web room: the service that technicians, the office and engineers reach with a browser or a script.

How to add a page
-----------------
1. A line in `doors.DOORS`: "GET /path" and the roles that may come in. Without it the route cannot be made, and
   `tests/web/test_doors.py` asks every route as every role and as nobody.
2. A module with `router = guard.router()` and plain functions (`def`, so that they run in a thread), named in
   `app.ROOMS`. Parameters: `request: Request`, `here: Here` (store(), now(), today(), settings), `asking: Asking` (who
   it is: `asking.name` is the person id, `asking.account.role`). What it does is a function of `pipeline/`.
3. `return page(request, "name.html", title=..., ...)` with a template in `web/templates` that extends `web.html` and
   fills `content` (and `own_style`). Style and script may stand in the page only with `nonce="{{ nonce }}"`; no
   `style=` attributes and no `onclick=`.
4. Every form that changes something is `method="post"` with `<input type="hidden" name="csrf" value="{{ csrf }}">`; the
   guard looks at it before the function is called. Answer a form with `RedirectResponse("/where", 303)`.
5. Whatever changes something says so with `service.note(here, asking, "release", "done", what=..., wall="DH-01-N")`.
6. A BowError, or `HTTPException(status, "plain words")`, becomes a page or a problem (RFC 9457) by itself.
7. To link it from every page: a line in `pages._NAVIGATION`.
"""
