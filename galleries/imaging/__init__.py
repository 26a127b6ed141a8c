"""Pictures in, pictures and facts out: no Django, no database, no storage, no clock.

`recipes` holds the only compositions; `decode` opens, `safe` opens what nobody trusts yet, `colour` converts,
`geometry`, `sizes` and `crops` measure, `faces` and `reading` look, `stamp` and `tracer` mark, `resize`,
`sharpen` and `encode` finish, `rights` writes metadata. Everything raised on purpose is in `errors`.
"""
