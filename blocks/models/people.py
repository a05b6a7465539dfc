"""The person who signs in."""

from typing import Any, ClassVar
from uuid import uuid4

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.db import models
from django.db.models.functions import Lower
from django.utils import timezone


class UserManager(BaseUserManager["User"]):
    """Make people by their e-mail address."""

    def create_user(
        self, email: str, password: str | None = None, **fields: Any
    ) -> "User":
        """Store a person; without a password they must set one by e-mail first."""
        user = self.model(email=self.normalize_email(email).lower(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(
        self, email: str, password: str | None = None, **fields: Any
    ) -> "User":
        """Store a person who may use the administration pages."""
        return self.create_user(
            email, password, is_staff=True, is_superuser=True, **fields
        )


class User(AbstractBaseUser, PermissionsMixin):
    """A person, known by e-mail; what they may see is said by memberships."""

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    email = models.EmailField("e-mail", unique=True)
    name = models.CharField(max_length=120)
    is_active = models.BooleanField(default=True)
    is_staff = models.BooleanField(default=False)
    date_joined = models.DateTimeField(default=timezone.now)

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]

    objects = UserManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(Lower("email"), name="blocks_user_email_any_case")
        ]

    def __str__(self) -> str:
        return self.name or self.email

    def get_full_name(self) -> str:
        """Give the name as written."""
        return self.name

    def get_short_name(self) -> str:
        """Give the name as written."""
        return self.name
