"""Photographs that benches send: kept once, without the camera's notes, and guarded."""

import hashlib
import io
import time
from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.test import Client
from django.utils import timezone
from PIL import Image

from blocks.files import folder_of, path_of
from blocks.tenancy import stating
from monitoring.models import Bag, BagPhoto
from monitoring.photographs.limits import LONGEST_PX, SENT_BYTES
from monitoring.services.bench_photos import MOST_OF_A_BAG
from tests.bench_devices import Device, line
from tests.builders import World
from tests.monitoring.bags.bench import Bench
from tests.photographs import flood, leaf, segments, with_gps

pytestmark = pytest.mark.django_db
CREATED, OK = 201, 200
# JFIF, tables, the frame, the pixels: nothing that an application wrote.
PLAIN = {0xE0, 0xDB, 0xC0, 0xC2, 0xC4, 0xDA}


@pytest.fixture
def bag(world: World) -> Bag:
    first, *_ = Bench(world).make()
    return first


@pytest.fixture
def phone(world: World) -> Device:
    return Device(world.people["lab"], name="Blue phone")


def tell(phone: Device, bag: Bag, sent: bytes, key: UUID | None = None) -> UUID:
    key = key or uuid4()
    digest = hashlib.sha256(sent).hexdigest()
    phone.make(
        "photo", photo=str(key), bag=str(bag.uuid), sha256=digest, size_bytes=len(sent)
    )
    return key


def put(world: World, key: UUID, sent: bytes, role: str = "lab") -> Any:
    return world.client(role).put(
        world.url(f"bench/photos/{key}/"), sent, content_type="image/jpeg"
    )


def send(world: World, phone: Device, bag: Bag, sent: bytes) -> Any:
    key = tell(phone, bag, sent)
    line(world).send(phone)
    return put(world, key, sent)


def photos(world: World) -> list[BagPhoto]:
    with stating(world.group.pk):
        return list(BagPhoto.objects.select_related("bag", "taken_by").order_by("pk"))


def kept(world: World, photo: BagPhoto) -> bytes:
    return path_of("photos", world.group.pk, photo.stored_name).read_bytes()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_nothing_that_the_camera_noted_is_kept_and_it_stands_upright(
    world: World, bag: Bag, phone: Device, kind: str
) -> None:
    sent = with_gps(kind=kind)
    assert b"Canary camera" in sent
    assert send(world, phone, bag, sent).status_code == CREATED
    (photo,) = photos(world)
    content = kept(world, photo)
    with Image.open(io.BytesIO(content)) as picture:
        assert not picture.getexif()
        assert picture.size == (200, 320) == (photo.width_px, photo.height_px)
    # By a second means, which knows nothing of pictures.
    assert set(segments(content)) <= PLAIN
    assert b"Canary" not in content
    assert b"Exif" not in content
    assert (photo.bag, photo.taken_by) == (bag, world.people["lab"])
    assert photo.sha256 == hashlib.sha256(sent).hexdigest()


def test_a_sound_picture_with_a_damaged_note_is_taken_and_stands_upright(
    world: World, bag: Bag, phone: Device
) -> None:
    sent = with_gps()
    # The type of the maker's entry, from letters to a ratio of two numbers.
    maker = sent.index(bytes.fromhex("010f0002"))
    damaged = sent[: maker + 3] + b"\x0a" + sent[maker + 4 :]
    assert send(world, phone, bag, damaged).status_code == CREATED
    (photo,) = photos(world)
    assert (photo.width_px, photo.height_px) == (200, 320)


def test_a_large_photograph_is_made_smaller(
    world: World, bag: Bag, phone: Device
) -> None:
    written = io.BytesIO()
    leaf(4000, 3000).save(written, "JPEG")
    assert send(world, phone, bag, written.getvalue()).status_code == CREATED
    (photo,) = photos(world)
    assert (photo.width_px, photo.height_px) == (LONGEST_PX, 1920)


def test_a_clear_picture_lies_on_white(world: World, bag: Bag, phone: Device) -> None:
    written = io.BytesIO()
    Image.new("RGBA", (40, 40), (0, 0, 0, 0)).save(written, "PNG")
    send(world, phone, bag, written.getvalue())
    with Image.open(io.BytesIO(kept(world, photos(world)[0]))) as picture:
        assert picture.getpixel((20, 20)) == (255, 255, 255)


def test_sent_twice_it_is_kept_once(world: World, bag: Bag, phone: Device) -> None:
    sent = with_gps()
    key = tell(phone, bag, sent)
    line(world).send(phone)
    answers = [put(world, key, sent), put(world, key, sent)]
    assert [one.status_code for one in answers] == [CREATED, OK]
    assert answers[0].json() == answers[1].json()
    assert len(photos(world)) == 1
    assert len(list(folder_of("photos", world.group.pk).iterdir())) == 1


def test_other_bytes_under_its_key_are_refused(
    world: World, bag: Bag, phone: Device
) -> None:
    sent = with_gps()
    key = tell(phone, bag, sent)
    line(world).send(phone)
    # Cut off on the way, before anything was kept; then after.
    assert "did not arrive as it was taken" in _refusal(put(world, key, sent[:-9]))
    put(world, key, sent)
    assert "Another photograph has this key" in _refusal(put(world, key, sent[:-9]))
    assert kept(world, photos(world)[0])


def test_a_photograph_before_its_act_waits(
    world: World, bag: Bag, phone: Device
) -> None:
    sent = with_gps()
    key = tell(phone, bag, sent)
    answer = put(world, key, sent)
    assert answer.json()["type"] == "urn:washboard:problem:photo-not-told"
    line(world).send(phone)
    assert put(world, key, sent).status_code == CREATED


def _refusal(answer: Any) -> str:
    assert 400 <= answer.status_code < 500
    assert answer["Content-Type"] == "application/problem+json"
    return str(answer.json()["detail"])


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        (b"GIF89a" + bytes(40), "This is a GIF, not a photograph"),
        (b"\0\0\0\x18ftypheic" + bytes(40), "a HEIC picture"),
        (b"\0\0\0\x18ftypmp42" + bytes(40), "a film"),
        (b"<svg onload='x'/>", "a web page or an SVG"),
        (b"bag,rust_mites\n1,2\n", "no picture at all"),
        (b"\xff\xd8\xff" + bytes(90), "cut off or damaged"),
        (with_gps()[:900], "cut off or damaged"),
        (b"RIFF\x10\0\0\0WEBPVP8 " + bytes(30), "cut off or damaged"),
        (flood(6400, 6400), "at most 40 million are taken"),
        (flood(60_000, 60_000), "at most 40 million are taken"),
    ],
)
def test_what_is_no_photograph_is_refused_in_words_and_quickly(
    world: World, bag: Bag, phone: Device, sent: bytes, words: str
) -> None:
    before = time.monotonic()
    assert words in _refusal(send(world, phone, bag, sent))
    assert time.monotonic() - before < 10
    assert photos(world) == []
    folder = folder_of("photos", world.group.pk)
    assert not folder.exists() or list(folder.iterdir()) == []


def test_more_bytes_than_are_taken_are_refused(
    world: World, bag: Bag, phone: Device
) -> None:
    sent = bytes(SENT_BYTES + 1)
    key = tell(phone, bag, sent[:9])
    line(world).send(phone)
    answer = put(world, key, sent)
    assert answer.status_code == 413
    assert "at most 12 MB" in _refusal(answer)


def test_a_bag_has_only_so_many_photographs(
    world: World, bag: Bag, phone: Device
) -> None:
    with stating(world.group.pk):
        BagPhoto.objects.bulk_create(
            BagPhoto(
                farm_group=world.group,
                bag=bag,
                stored_name="x",
                sha256="",
                size_bytes=1,
                width_px=1,
                height_px=1,
            )
            for _ in range(MOST_OF_A_BAG)
        )
    assert "photographs already" in _refusal(send(world, phone, bag, with_gps()))


def test_the_picture_is_shown_alone_to_those_who_see_its_bag(
    world: World, phone: Device, stranger: Client, make_world: Callable[..., World]
) -> None:
    (theirs, *_) = Bench(world).make(block=1)
    send(world, phone, theirs, with_gps())
    (photo,) = photos(world)
    url = world.url(f"bench/photos/{photo.uuid}/")
    shown = world.client("consultant").get(url)
    assert shown.content == kept(world, photo)
    assert shown["Content-Type"] == "image/jpeg"
    assert shown["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in shown["Content-Security-Policy"]
    assert "private" in shown["Cache-Control"]
    assert shown["Content-Disposition"].startswith("inline")
    loaded = world.client("consultant").get(f"{url}?download")
    assert loaded["Content-Disposition"].startswith("attachment")
    # The grower sees the other farm only; the rest is no part of the group.
    outside = [world.client("grower"), stranger, make_world().client("coordinator")]
    assert [one.get(url).status_code for one in outside] == [404, 404, 404]


def test_only_those_who_count_send_photographs(
    world: World, bag: Bag, phone: Device
) -> None:
    sent = with_gps()
    key = tell(phone, bag, sent)
    line(world).send(phone)
    assert put(world, key, sent, "consultant").status_code == 403
    assert photos(world) == []


def test_a_coordinator_removes_one_for_good_and_it_stays_removed(
    world: World, bag: Bag, phone: Device
) -> None:
    sent = with_gps()
    key = tell(phone, bag, sent)
    line(world).send(phone)
    put(world, key, sent)
    (photo,) = photos(world)
    path = path_of("photos", world.group.pk, photo.stored_name)
    client, url = world.client("coordinator"), world.url(f"bench/photos/{key}/remove/")
    answer = client.post(url, {"why": " "}, follow=True)
    assert "Say why the photograph is removed" in answer.content.decode()
    answer = client.post(url, {"why": "a\0b"}, follow=True)
    assert "the reason cannot be kept" in answer.content.decode()
    assert path.exists()
    answer = client.post(url, {"why": "shows a person"}, follow=True)
    assert "shows a person" in answer.content.decode()
    assert client.get(world.url(f"bench/photos/{key}/")).status_code == 404
    # Sent again by a device that did not hear of it, it does not come back.
    assert put(world, key, sent).json()["removed"] is True
    answer = client.post(url, {"why": "again"}, follow=True)
    assert "removed this photograph already" in answer.content.decode()


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_a_removed_file_is_gone_from_the_disk(
    world: World, bag: Bag, phone: Device
) -> None:
    send(world, phone, bag, with_gps())
    (photo,) = photos(world)
    world.client("coordinator").post(
        world.url(f"bench/photos/{photo.uuid}/remove/"), {"why": "shows a person"}
    )
    assert list(folder_of("photos", world.group.pk).iterdir()) == []


def test_a_photograph_that_never_came_is_missed(
    world: World, bag: Bag, phone: Device
) -> None:
    tell(phone, bag, with_gps())
    line(world).send(phone)
    page = world.url("bench/todo/")
    words = "Photographs that have not come"
    assert words not in world.client("lab").get(page).content.decode()
    late = timezone.now() + timedelta(hours=13)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("monitoring.views.bench_readings.timezone.now", lambda: late)
        assert words in world.client("lab").get(page).content.decode()
        send(world, phone, bag, with_gps())
        shown = world.client("lab").get(page).context["photos_awaited"]
        assert [event.sequence for event in shown] == [1]


def test_the_bags_page_shows_who_took_it_and_when(
    world: World, bag: Bag, phone: Device
) -> None:
    send(world, phone, bag, with_gps())
    page = world.client("grower").get(world.url(f"bags/{bag.uuid}/")).content.decode()
    assert f'alt="Photograph 1 of bag {bag.code}"' in page
    assert f"{world.people['lab'].name}, 16 Aug 2026, 12:00" in page
    assert "Remove it" not in page
