"""Lists, one page at a time."""

from rest_framework.pagination import PageNumberPagination


class ListPagination(PageNumberPagination):
    """Fifty rows unless asked otherwise, never more than five hundred."""

    page_size_query_param = "page_size"
    max_page_size = 500
