"""Pictures in, pictures and facts out: no Django, no database, no storage, no clock.

A room for each station: `opening` reads files (with `containers` for their parts), `colour` converts, `face` reads,
`framing` measures, `drawing` stamps and letters, `output` resizes and encodes, `comparing` lays two pictures over
one another, `rights` writes metadata, `tracer` hides and finds. `recipes` and `preview` compose them; `contained` runs
them on bytes of strangers. Everything raised on purpose is in `errors`.
"""
