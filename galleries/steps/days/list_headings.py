"""How the columns of lists are headed in English, German and Spanish, and how people write yes and no."""

from __future__ import annotations

# A column's heading, without accents, signs and capitals → what it holds.
HEADINGS = {
    **dict.fromkeys(("name", "sitter", "person", "nombre completo", "nombre y apellidos"), "name"),
    **dict.fromkeys(("given name", "first name", "given", "vorname", "nombre", "nombre de pila"), "given"),
    **dict.fromkeys(("surname", "last name", "family name", "nachname", "familienname"), "surname"),
    **dict.fromkeys(("apellido", "apellidos"), "surname"),
    **dict.fromkeys(("e mail", "email", "mail", "e mail adresse", "correo", "correo electronico"), "email"),
    **dict.fromkeys(("agent", "agency", "agentur", "agentin", "agente", "agencia", "representante"), "agent_name"),
    **dict.fromkeys(
        (
            *("agent e mail", "agent email", "agent s e mail", "agency e mail", "e mail der agentur", "agentur e mail"),
            *("agenten e mail", "correo de la agencia", "correo del agente", "correo agencia", "correo agente"),
        ),
        "agent_email",
    ),
    **dict.fromkeys(("language", "sprache", "idioma"), "language"),
    **dict.fromkeys(("minor", "minderjahrig", "menor", "menor de edad"), "minor"),
}  # fmt: skip
YES = frozenset({"yes", "y", "ja", "j", "si", "s", "true", "1", "x"})
NO = frozenset({"", "no", "n", "nein", "false", "0", "-"})
