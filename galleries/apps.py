from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class GalleriesConfig(AppConfig):
    name = "galleries"
    verbose_name = _("Galleries")
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from django.conf import settings

        from galleries import checks  # noqa: F401 - register the system checks
        from galleries.imaging.contained import address

        address.socket = settings.DECODER_SOCKET
