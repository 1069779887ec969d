"""The page on the home network. What it may ask of the service is `service.service_api`.

`app` puts it together, `gate` lets requests in, `sign_in` and `browser_session` know who asks.
`screen_now`, `screen_do`, `screen_record`, `screen_setup` are its screens; `live` keeps an open one
up to date; `review_worker` has the record worked out in a child process."""
