"""Requests and answers as HTTP has them: reading, problems, paging, writes done once, who may ask what."""
