"""The page on which a device learns to trust a site with a certificate of its own."""

from pathlib import Path

import segno
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509.oid import NameOID
from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from blocks.errors import SiteError
from deploy.steps.certificates import fingerprint


class CertificateError(SiteError):
    """The certificate is not where the start of the site put it."""

    code = "no-certificate"
    status = 503


@require_safe
def how_to_trust(request: HttpRequest) -> HttpResponse:
    """Show, to anybody, how a phone or computer comes to trust this site."""
    certificate = _certificate()
    (name,) = certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)
    marks = fingerprint(certificate)
    address = settings.SITE_URL + reverse("certificate")
    return render(
        request,
        "deploy/certificate.html",
        {
            "name": name.value,
            "until": certificate.not_valid_after_utc,
            # Eight pairs a line fit on a phone.
            "fingerprint": [marks[at : at + 24] for at in range(0, len(marks), 24)],
            "address": address,
            "picture": segno.make(address, error="m").svg_data_uri(
                scale=4, light="white", border=4
            ),
        },
    )


@require_safe
def certificate_file(request: HttpRequest) -> HttpResponse:  # noqa: ARG001 - Django's signature
    """Give the authority's certificate in the form that phones install."""
    return HttpResponse(
        _certificate().public_bytes(Encoding.DER),
        content_type="application/x-x509-ca-cert",
        headers={"Content-Disposition": 'attachment; filename="washboard.crt"'},
    )


def _certificate() -> x509.Certificate:
    if not settings.AUTHORITY_FILE:
        raise Http404("This site has no certificate of its own.")
    try:
        return x509.load_pem_x509_certificate(
            Path(settings.AUTHORITY_FILE).read_bytes()
        )
    except (OSError, ValueError) as error:
        raise CertificateError(
            "This site's certificate cannot be read at the moment. Ask whoever runs"
            " the site to stop it and start it again."
        ) from error
